"""`windwatch now`: every airfield as it stands, or as it would in a supposed wind."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from windwatch.airmanship.control_words import in_words
from windwatch.airmanship.wing_lift import lift_in_words
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.assessment.values import (
    Assessment,
    Finding,
    Level,
)
from windwatch.cli.now_json import Shown, document, known
from windwatch.cli.show import (
    SOMETHING_OVER,
    caution_line,
    examples,
    load_settings,
    paragraph,
    print_json,
    table,
    with_exit_status,
)
from windwatch.clock import Clock, SystemClock
from windwatch.episodes.entries import stations_of
from windwatch.errors import FeedBusy, FeedError, NoUsableReports, UsageError
from windwatch.fleet import PARKED_QUANTITIES, Airfield, Fleet
from windwatch.notices.advice import legs_of, merged_reminders, on_leg, parked_in
from windwatch.notices.words import Times, against, minutes, quantity_of, wind_long
from windwatch.reports.decode import decode_report
from windwatch.reports.raw import RawReport
from windwatch.reports.values import Report
from windwatch.reports.wind_group import read_wind_group
from windwatch.rules import in_words as length
from windwatch.settings.running import Settings
from windwatch.wind import Wind
from windwatch.wiring import make_feed


@click.command(
    epilog=examples(
        "windwatch now field.toml", 'windwatch now field.toml --wind "28022G33KT 240V310"'
    )
)
@click.argument("config", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--wind", help='Suppose this wind (true), for example "22018G30KT 190V250".')
@click.option("--report", "report_text", help="Suppose this report instead of asking the feed.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@click.option("--exit-level", is_flag=True, help="End with status 1 where something is over.")
@with_exit_status
def now(
    config: tuple[Path, ...],
    wind: str | None,
    report_text: str | None,
    as_json: bool,
    exit_level: bool,
) -> None:
    """Show every airfield now: runways, aircraft, control positions, parked aircraft.

    Asks the feed once; nothing is stored and nobody is told. With --wind or --report it shows
    what that would mean for every aircraft here.
    """
    if wind is not None and report_text is not None:
        raise UsageError("--wind and --report are two ways of supposing; give one of them")
    settings = load_settings(config, require_secrets=False)
    clock = SystemClock()
    moment = clock.now()
    if wind is not None:
        shown = [supposed_wind(settings.fleet, a, wind, moment) for a in settings.fleet.airfields]
    elif report_text is not None:
        shown = supposed_report(settings.fleet, report_text, moment)
    else:
        try:
            shown = ask_feed(settings, clock, moment)
        except FeedError as error:
            raise _with_next_steps(error, config, settings) from error
    if as_json:
        print_json(document(shown, moment))
    else:
        click.echo(
            "\n\n".join("\n".join(_airfield_lines(s, settings.fleet, moment)) for s in shown)
        )
        click.echo()
        click.echo(caution_line())
    if not any(known(s) for s in shown):
        raise NoUsableReports("no airfield has a usable wind; nothing is known, which is not calm")
    if exit_level and any(_something_over(s) for s in shown):
        sys.exit(SOMETHING_OVER)


def _with_next_steps(error: FeedError, config: tuple[Path, ...], settings: Settings) -> FeedError:
    """A feed that gave nothing, and what can be done: look why, wait, or suppose a wind."""
    recorded = settings.feed.kind == "recorded"
    look = "the files that it names" if recorded else "the network of this machine"
    every = settings.feed.every
    wait = max(every, error.retry_after) if isinstance(error, FeedBusy) else every
    names = " ".join(map(str, config))
    return FeedError(
        error.source,
        f"{error.problem}\n"
        f"Look at [feed] in the configuration, and at {look}. A watch that runs asks again by "
        f"itself, here after {length(wait)}.\n"
        f'To suppose a wind meanwhile: windwatch now {names} --wind "22018G30KT"',
    )


# --- where the report comes from -------------------------------------------------


def supposed_wind(fleet: Fleet, airfield: Airfield, text: str, moment: datetime) -> Shown:
    """One airfield in a wind that somebody supposes."""
    try:
        wind = read_wind_group(text)
    except ValueError as error:
        raise UsageError(f"--wind: {error}") from error
    report = Report(f"supposed {text}", airfield.station.id, "METAR", moment, wind=wind)
    plan = plan_airfield(fleet, airfield, moment.date())
    return Shown(airfield, plan, report, assess(plan, report), stale=False, supposed=True)


def supposed_report(fleet: Fleet, text: str, moment: datetime) -> list[Shown]:
    """The airfields that this report is for, or all where its station is nobody's."""
    report = decode_report(text, moment)
    if report.observed_at is None:
        raise UsageError(f"--report: {'; '.join(report.problems) or 'this is no report'}")
    homes = [a for a in fleet.airfields if report.station in stations_of(a)]
    shown = []
    for airfield in homes or fleet.airfields:
        plan = plan_airfield(fleet, airfield, report.observed_at.date())
        judged = assess(plan, report)
        shown.append(Shown(airfield, plan, report, judged, stale=False, supposed=True))
    return shown


def ask_feed(settings: Settings, clock: Clock, moment: datetime) -> list[Shown]:
    """Every airfield with its newest report; the feed is asked once, nothing is stored."""
    feed = make_feed(settings, clock)
    try:
        result = feed.fetch(settings.fleet.stations(), moment, fresh=True)
    finally:
        feed.close()
    for problem in result.problems:
        click.echo(paragraph(f"feed: {problem}", hang="  "), err=True)
    if not result.reports:
        raise FeedError(settings.feed.kind, "no report came; nothing is known, which is not calm")
    decoded = [_decoded(raw) for raw in result.reports]
    return [_newest(settings.fleet, a, decoded, moment) for a in settings.fleet.airfields]


def _decoded(raw: RawReport) -> Report:
    return decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)


def _newest(fleet: Fleet, airfield: Airfield, reports: Iterable[Report], moment: datetime) -> Shown:
    """The newest fresh wind of the main station, else of the first fall-back that has one."""
    plan = plan_airfield(fleet, airfield, moment.date())
    newest: Report | None = None
    for station in stations_of(airfield):
        mine = [
            r
            for r in reports
            if r.station == station and r.wind is not None and r.observed_at is not None
        ]
        mine.sort(key=lambda r: (_time(r), r.correction))
        if not mine:
            continue
        newest = newest or mine[-1]
        if moment - _time(mine[-1]) < airfield.stale_after:
            judged = assess(plan, mine[-1])
            return Shown(airfield, plan, mine[-1], judged, stale=False, supposed=False)
    if newest is None:
        return Shown(airfield, plan, None, None, stale=True, supposed=False)
    return Shown(airfield, plan, newest, assess(plan, newest), stale=True, supposed=False)


def _time(report: Report) -> datetime:
    if report.observed_at is None:
        raise ValueError("a report without a time")
    return report.observed_at


def _something_over(shown: Shown) -> bool:
    judged = shown.assessment
    if judged is None:
        return False
    thunder = judged.thunder is not None and judged.thunder.level is Level.OVER
    return (
        thunder
        or any(r.level is Level.OVER for r in judged.runways)
        or any(g.finding.level is Level.OVER for g in judged.ground)
    )


# --- words --------------------------------------------------------------------


def _airfield_lines(shown: Shown, fleet: Fleet, moment: datetime) -> Iterator[str]:
    airfield, report, judged = shown.airfield, shown.report, shown.assessment
    yield f"{airfield.id} {airfield.name}"
    yield "=" * len(f"{airfield.id} {airfield.name}")
    if report is None or judged is None or report.wind is None:
        yield "unknown: no wind is known; that is not calm and not within limits"
        return
    yield from _wind_lines(shown, report, moment)
    yield from _weather_lines(judged)
    yield ""
    yield from _runway_lines(shown, judged)
    yield ""
    yield from _ground_lines(shown, judged)
    yield ""
    yield from _taxi_lines(shown, report.wind, fleet)
    yield from _parked_lines(judged, report.wind, fleet, airfield)
    yield ""
    if not shown.supposed:
        yield paragraph(f"Report: {report.raw}", hang="  ")


def _wind_lines(shown: Shown, report: Report, moment: datetime) -> Iterator[str]:
    if report.wind is None:
        return
    zone = ZoneInfo(shown.airfield.time_zone)
    if shown.supposed:
        yield f"Supposed{_supposed_station(shown, report)}, not observed:"
    else:
        observed = _time(report)
        age = minutes(moment - observed)
        yield f"{report.station}, observed {Times(zone, moment).at(observed)}, {age} old"
        if shown.stale:
            yield "unknown now: that is too old to count; below is the last known wind"
        if report.station != shown.airfield.station.id:
            yield f"From the fall-back station: {shown.airfield.station.id} gives no fresh wind"
    for line in wind_long(report.wind, shown.plan.variation_deg):
        yield paragraph(line, hang="  ")


def _supposed_station(shown: Shown, report: Report) -> str:
    if report.raw.startswith("supposed "):
        return ""
    others = {s.id for s in shown.airfield.fall_back_stations}
    which = " (fall-back station)" if report.station in others else ""
    return f" report of {report.station}{which}"


def _weather_lines(judged: Assessment) -> Iterator[str]:
    if judged.thunder is not None and judged.thunder.level is not Level.WITHIN:
        reasons = "; ".join(judged.thunder.reasons)
        yield paragraph(f"Thunder: {judged.thunder.level.word} ({reasons})", hang="  ")
    for note in judged.weather_notes:
        yield paragraph(note, hang="  ")


def _runway_lines(shown: Shown, judged: Assessment) -> Iterator[str]:
    rows = []
    notes: dict[str, None] = {}
    for subject in judged.runways:
        for position, runway in enumerate(subject.runways):
            first = position == 0
            rows.append(
                (
                    subject.aircraft if first else "",
                    (subject.pilot_limits or "anybody") if first else "",
                    f"{runway.best.end}{'*' if runway.best.approximate else ''}",
                    _level(shown, runway.best.level),
                    _decides(runway.best.deciding),
                )
            )
            for note in runway.notes:
                notes[f"{runway.runway}: {note}"] = None
    if not rows:
        yield "No runway limits are configured."
        return
    yield table(rows, ("aircraft", "pilot", "end", "level", "what decides (limit, whose)"))
    if any(r.best.approximate for s in judged.runways for r in s.runways):
        yield "* approximate heading: no survey, or the painted number only"
    for note in notes:
        yield paragraph(f"Note, runway {note}", hang="  ")


def _level(shown: Shown, level: Level) -> str:
    """A level in words; what is too old is unknown, with the last known one beside it."""
    return f"unknown (was {level.word})" if shown.stale else level.word


def _decides(finding: Finding | None) -> str:
    if finding is None:
        return "no limit"
    return f"{quantity_of(finding)} {against(finding)} ({finding.limit.whose})"


def _ground_lines(shown: Shown, judged: Assessment) -> Iterator[str]:
    rows = [
        (g.aircraft, quantity_of(g.finding), _level(shown, g.finding.level), against(g.finding))
        for g in judged.ground
    ]
    if rows:
        yield table(rows, ("aircraft", "on the ground", "level", "strongest wind"))


def _taxi_lines(shown: Shown, wind: Wind, fleet: Fleet) -> Iterator[str]:
    craft = fleet.based_at(shown.airfield.id)
    if not craft:
        return
    old = " in the last known wind" if shown.stale else ""
    yield f"Controls while taxiing{old} (yoke, control column or stick)"
    for leg in legs_of(shown.airfield):
        advice = on_leg(leg, wind, craft, shown.plan.variation_deg)
        about = "about " if advice.approximate else ""
        heading = f"{advice.heading_true:03.0f} true, {advice.heading_magnetic:03.0f} magnetic"
        yield f"  {leg.name} ({about}{heading})"
        for hold in advice.holds:
            critical = "; most critical wind" if hold.positions.most_critical else ""
            names = ", ".join(hold.aircraft)
            words = f"{names}: {in_words(hold.positions)}{critical}"
            yield paragraph(words, "    ", "      ")
            for other in hold.positions.alternatives:
                yield paragraph(f"or: {in_words(other)}", "      ", "        ")


def _parked_lines(
    judged: Assessment, wind: Wind, fleet: Fleet, airfield: Airfield
) -> Iterator[str]:
    """Reminders for the aircraft near or past a limit for parked ones, or under thunder."""
    thunder = None if judged.thunder is None else judged.thunder.level
    alarmed = thunder not in (None, Level.WITHIN)
    pressing = {
        g.aircraft
        for g in judged.ground
        if g.finding.limit.quantity in PARKED_QUANTITIES and g.finding.level is not Level.WITHIN
    }
    parked = tuple(
        parked_in(craft, wind, thunder, still_open=False)
        for craft in fleet.based_at(airfield.id)
        if alarmed or craft.name in pressing
    )
    if not parked:
        return
    names = [advice.craft.name for advice in parked]
    yield ""
    yield f"Parked (tie-down or picketing): {', '.join(names)}"
    for reminder, whose in merged_reminders(parked):
        only = "" if len(whose) == len(names) else f"{', '.join(whose)}: "
        yield paragraph(f"- {only}{reminder.text}", "  ", "    ")
    for advice in parked:
        if advice.lift is not None:
            words = f"- {advice.craft.name}: {lift_in_words(advice.lift)}"
            yield paragraph(words, "  ", "    ")
