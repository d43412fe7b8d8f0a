"""`windwatch replay`: a recorded day through the very same watch, at its own times."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import click

from windwatch.airmanship.cautions import CAUTION
from windwatch.cli.show import (
    caution_line,
    examples,
    hanging,
    iso,
    load_settings,
    moment_of,
    paragraph,
    print_json,
    with_exit_status,
)
from windwatch.clock import HandClock
from windwatch.cycle import CycleReport
from windwatch.delivery.worker import DrainReport
from windwatch.episodes.clock_doubt import Gap
from windwatch.episodes.values import Step
from windwatch.errors import NoUsableReports, UsageError
from windwatch.feeds.recorded import (
    RecordedKind,
    RecordedLine,
    read_all_recorded,
    recorded_line,
)
from windwatch.notices.clean import visible
from windwatch.notices.lines import step_line
from windwatch.notices.values import Content, Notice
from windwatch.settings.running import Settings
from windwatch.store.store import open_store
from windwatch.watch import Watch
from windwatch.wiring import make_channels

_MINUTE: Final = timedelta(minutes=1)
_IN: Final = " " * 11
# Forecasts are shown on the board, not yet judged: they make no difference to what is told.
_NOT_PLAYED: Final = frozenset({RecordedKind.UNREADABLE, RecordedKind.FORECAST})


@dataclass
class Played:
    """What a replay came to."""

    sent: list[tuple[Notice, Content]] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    delivered: Counter[str] = field(default_factory=Counter)


@click.command(epilog=examples("windwatch replay config/demo.toml"))
@click.argument("config", nargs=1, type=click.Path(path_type=Path))
@click.argument("files", nargs=-1, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the mails (.eml) and webhook payloads (.json); the configured one if not set.",
)
@click.option("--until", help="Go on to this moment (ISO, Z), for example 2026-09-23T11:05Z.")
@click.option("--quiet", is_flag=True, help="Only the summary.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def replay(
    config: Path,
    files: Sequence[Path],
    out: Path | None,
    until: str | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Play recorded reports and show what would have been sent, to whom and why.

    Everything runs as in `watch`, from an empty memory, at the recorded times. Nothing leaves
    this machine: mails and webhook payloads are dropped in a folder.
    """
    settings = load_settings([config], require_secrets=False)
    chosen = tuple(files) or settings.feed.files
    if not chosen:
        raise UsageError(
            f"{config}: no recorded file is named; add one to the command, or write "
            'kind = "recorded" and files = ["…"] under [feed]'
        )
    folder = out or settings.delivery.folder or Path("windwatch-replay")
    lines = read_all_recorded(chosen)
    if all(line.kind in _NOT_PLAYED for line in lines):
        raise NoUsableReports(f"{', '.join(map(str, chosen))}: no report in it")
    end = None if until is None else moment_of(until)
    with _thrown_away() as store_path:
        show = _Quiet() if quiet or as_json else _Story(settings)
        played = play(settings, lines, folder, store_path, end, show)
    if as_json:
        print_json(_as_json(played, folder))
        return
    for problem in played.problems:
        click.echo(paragraph(f"problem: {visible(problem)}", hang="  "))
    click.echo(_summary(settings, played, folder))
    click.echo(caution_line())


def play(
    settings: Settings,
    lines: Sequence[RecordedLine],
    folder: Path,
    store_path: Path,
    until: datetime | None = None,
    show: _Quiet | None = None,
) -> Played:
    """Play recorded lines through a watch: a report before the tick of its minute.

    Parameters
    ----------
    folder : Path
        Where mails and payloads are dropped.
    store_path : Path
        A store that does not exist yet.
    until : datetime or None
        Where to end; the last recorded event if None.
    """
    show = show or _Quiet()
    # What cannot be read has no time of its own.
    played = Played(problems=[line.problem for line in lines if line.problem])
    left = [line for line in lines if line.kind not in _NOT_PLAYED]
    if not left:
        raise NoUsableReports("no report in it")
    minute = left[0].at
    end = until or left[-1].at
    if end < minute:
        raise UsageError(f"--until {iso(end)} is before the first recorded line, {iso(minute)}")
    gaps = [(line.since, line.at) for line in left if line.since is not None]
    clock = HandClock(minute)
    with open_store(store_path, clock, durable=False) as store:
        watch = Watch(settings, store, None, make_channels(settings, folder), clock)
        while True:
            while left and left[0].at <= min(minute, end):
                lines = _of_one_moment(left)
                clock.set(lines[0].at)
                for line in lines[:-1]:
                    show.happened(line, CycleReport())
                _account(watch, _happen(watch, lines, played), played, show, lines[-1])
            if minute > end:
                return played
            if not any(since < minute < at for since, at in gaps):
                clock.set(minute)
                _account(watch, watch.tick(), played, show, None)
                watch.keeper.play_gap(None)
            minute += _MINUTE


def _of_one_moment(left: list[RecordedLine]) -> list[RecordedLine]:
    """Take the next line; and with a report those that came with it, in one reply."""
    first = left.pop(0)
    lines = [first]
    while left and first.kind is left[0].kind is RecordedKind.REPORT and left[0].at == first.at:
        lines.append(left.pop(0))
    return lines


def _happen(watch: Watch, lines: Sequence[RecordedLine], played: Played) -> CycleReport:
    line = lines[0]
    match line.kind:
        case RecordedKind.REPORT:
            return watch.take([each.report for each in lines if each.report is not None])
        case RecordedKind.CLOCK:
            watch.keeper.clock.play(line.doubt)
            return CycleReport()
        case RecordedKind.UNWATCHED:
            if line.since is not None:
                watch.keeper.play_gap(Gap(line.since, line.until or line.at))
            return CycleReport()
        case RecordedKind.TICK:
            return watch.tick()
        case RecordedKind.ACKNOWLEDGE:
            return _acknowledge(watch, line)
        case RecordedKind.DESK:
            problem = f"{line.file}:{line.line}: desk entries are not played in this version"
            played.problems.append(problem)
            return CycleReport()
        case RecordedKind.UNREADABLE | RecordedKind.FORECAST:
            return CycleReport()


def _acknowledge(watch: Watch, line: RecordedLine) -> CycleReport:
    report = CycleReport()
    for airfield, books in watch.books.items():
        episodes = tuple(
            told.episode
            for told in books.state.ledger
            if told.open and (line.episode == "all" or told.episode.startswith(line.episode))
        )
        if episodes:
            watch.acknowledge(airfield, episodes, line.by, report)
    return report


def _account(
    watch: Watch,
    report: CycleReport,
    played: Played,
    show: _Quiet,
    line: RecordedLine | None,
) -> None:
    if line is not None:
        show.happened(line, report)
    played.problems += (*report.problems, *report.failed)
    if not report.notices:
        return
    played.sent += report.notices
    for notice, content in report.notices:
        show.told(notice, content)
        played.delivered[notice.contact] += 1
    drained: DrainReport = watch.deliver()
    played.failed += drained.for_operator


@contextmanager
def _thrown_away() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="windwatch-replay-") as place:
        yield Path(place) / "replay.db"


# --- words --------------------------------------------------------------------


class _Quiet:
    """Says nothing while the day is played."""

    def happened(self, line: RecordedLine, report: CycleReport) -> None:
        """Something recorded has happened."""

    def told(self, notice: Notice, content: Content) -> None:
        """A notice went out."""


class _Story(_Quiet):
    """Tells the day as it goes."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings

    def happened(self, line: RecordedLine, report: CycleReport) -> None:
        """Something recorded has happened."""
        if line.report is not None:
            click.echo(f"{line.at:%d %H:%MZ}  {visible(line.report.text)[:68].rstrip()}")
        elif line.kind in (RecordedKind.CLOCK, RecordedKind.UNWATCHED):
            said = recorded_line(line).partition(" ")[2]
            click.echo(f"{line.at:%d %H:%MZ}  {visible(said)[:68].rstrip()}")
        for _, judged in report.judged:
            if judged.status not in ("accepted", "standby"):
                click.echo(paragraph(f"{judged.status}: {judged.reason}", _IN, _IN))

    def told(self, notice: Notice, content: Content) -> None:
        """A notice went out."""
        channels = "/".join(
            next(c.channels for c in self._settings.fleet.contacts if c.name == notice.contact)
        )
        to = f"to {notice.contact} ({channels}), {notice.at:%H:%MZ}"
        click.echo(paragraph(to, "  ", "     "))
        click.echo(paragraph(content.subject, "     ", "     "))
        for step in notice.steps:
            click.echo(paragraph(f"- {step_line(step)}", "       ", "         "))


def _summary(settings: Settings, played: Played, folder: Path) -> str:
    counts = ", ".join(
        f"{contact.name} {played.delivered[contact.name]}" for contact in settings.fleet.contacts
    )
    plural = "" if len(played.sent) == 1 else "s"
    lines = [
        "",
        paragraph(f"{len(played.sent)} notice{plural}: {counts}", hang="  "),
        hanging(f"Mails and payloads are in {folder}"),
    ]
    lines += [paragraph(f"not delivered: {failure}", hang="  ") for failure in played.failed]
    return "\n".join(lines)


def _as_json(played: Played, folder: Path) -> dict[str, Any]:
    return {
        "notices": [
            {
                "at": iso(notice.at),
                "id": notice.id,
                "contact": notice.contact,
                "airfield": notice.airfield,
                "kind": notice.kind,
                "subject": content.subject,
                "steps": [_step_json(step) for step in notice.steps],
            }
            for notice, content in played.sent
        ],
        "problems": played.problems,
        "not_delivered": played.failed,
        "folder": str(folder),
        "caution": CAUTION,
    }


def _step_json(step: Step) -> dict[str, Any]:
    found = step.finding
    return {
        "step": step.name.value,
        "track": step.track.name,
        "runway": step.runway,
        "figure_kt": None if found is None else found.figure,
        "limit_kt": None if found is None else found.limit.value,
        "quantity": None if found is None else found.quantity,
        "reason": step.reason,
    }
