"""The demo day through the pipeline, against the stream that was derived by hand before it.

The table in `expected_notices.md` names the rule behind each row.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from windwatch import pipeline
from windwatch.episodes.values import Step
from windwatch.feeds.recorded import read_recorded
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings

Row = tuple[str, str, str, str, str, str]
HELD = "4"
STREAM = "3"
NOBODY = "5"


def table(section: str) -> list[Row]:
    rows: list[Row] = []
    here = ""
    text = (Path(__file__).parent / "expected_notices.md").read_text(encoding="utf-8")
    for line in text.splitlines():
        if line.startswith("## "):
            here = line[3]
        if here == section and line.startswith("| 2026-"):
            at, contact, step, track, figure, limit, rule = (
                cell.strip() for cell in line.strip("|").split("|")
            )
            assert rule, f"a row without a rule: {line}"
            rows.append((at, contact, step, track, figure, limit))
    return rows


def row(at: datetime, contact: str, step: Step) -> Row:
    track = step.track.name
    if step.runway:
        track = f"runway {step.runway} {step.track.aircraft} / {step.track.pilot_limits}"
    figure = limit = "-"
    if step.finding is not None:
        figure = f"{step.finding.figure:.1f}"
        limit = f"{step.finding.limit.value:g}"
        if step.track.kind == "runways":
            figure = f"{step.finding.quantity} {figure}"
    return f"{at:%Y-%m-%dT%H:%MZ}", contact, step.name.value, track, figure, limit


class Day:
    """The demo day, played minute by minute."""

    def __init__(self, root: Path) -> None:
        settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
        self.setup = pipeline.Setup(settings.fleet)
        self.told: list[Row] = []
        self.nobody: list[Row] = []
        lines = read_recorded(root / "recorded_reports" / "front_day.txt")
        airfield = settings.fleet.airfield("XLKS")
        now = lines[0].at
        self.books = pipeline.begin(self.setup, airfield, now)
        left = list(lines)
        while now <= lines[-1].at:
            while left and left[0].at <= now:
                line = left.pop(0)
                if line.report is None:
                    # The day's two forecasts, which are shown and not judged.
                    assert line.forecast is not None
                    continue
                self.step(pipeline.ReportsCame((line.report,)), line.at)
            self.step(pipeline.Tick(), now)
            now += timedelta(minutes=1)

    def step(self, event: pipeline.Event, now: datetime) -> None:
        outcome = pipeline.step(self.setup, self.books, event, now)
        self.books = outcome.books
        for notice, _ in outcome.notices:
            self.told += [row(now, notice.contact, step) for step in notice.steps]
        self.nobody += [row(now, "-", s) for s in outcome.steps if not outcome.heard_by[s.id]]

    @property
    def held(self) -> list[Row]:
        return [
            row(held.step.at, contact.contact, held.step)
            for contact in self.books.state.contacts
            for held in contact.held
        ]


@pytest.fixture(scope="module")
def day(root: Path) -> Day:
    return Day(root)


def test_the_hand_derived_table_is_whole() -> None:
    assert len(table(STREAM)) == 106
    assert len({(r[0], r[1]) for r in table(STREAM)}) == 35


def test_every_notice_of_the_day_is_as_derived_by_hand(day: Day) -> None:
    assert day.told == table(STREAM)


def test_steps_outside_the_operating_hours_wait_for_the_opening(day: Day) -> None:
    assert sorted(day.held) == sorted(table(HELD))


def test_steps_that_nobody_hears_are_made_all_the_same(day: Day) -> None:
    # *Easing* is off by default and not in the table.
    assert [r for r in day.nobody if r[2] != "easing"] == table(NOBODY)


@pytest.mark.promise(15)
def test_the_summary_at_opening_tells_what_waited(day: Day, root: Path) -> None:
    opening = datetime(2026, 9, 23, 11, 0, tzinfo=UTC)
    fresh = "METAR XLKS 231053Z AUTO 00000KT 10SM CLR 09/06 A3010 RMK AO2"
    raw = RawReport(fresh, opening - timedelta(minutes=4), "recorded")
    # Nothing came all night, which is told first; what matters here is the opening.
    books = pipeline.step(day.setup, day.books, pipeline.ReportsCame((raw,)), raw.received_at).books
    outcome = pipeline.step(day.setup, books, pipeline.Tick(), opening)
    told = {
        notice.contact: [(s.name.value, s.track.name, s.runway) for s in notice.steps]
        for notice, _ in outcome.notices
    }
    assert told == {
        "operations desk": [
            ("back", "runways X-LARK / student solo", ""),
            ("runway_back", "runways X-LARK / dual", "10/28"),
            ("back", "runways X-WREN / owner", ""),
            ("runway_back", "runways X-LARK / student solo", "10/28"),
        ],
        "instructor on duty": [("back", "runways X-LARK / student solo", "")],
    }
