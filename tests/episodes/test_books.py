"""What a configuration made ready remembers: no more than can still be needed."""

from datetime import timedelta

from tests.pipeline.little_field import TIE_DOWN, Watch, metar, parked_fleet, utc
from windwatch import pipeline
from windwatch.episodes import books as ready
from windwatch.reports.raw import RawReport

HOUR = timedelta(hours=1)


def a_day_of_reports(hours=30):
    """A report an hour and a tick after each, from 12 h UTC on."""
    watch = Watch(parked_fleet())
    for hour in range(hours):
        observed = utc("1153") + hour * HOUR
        wind = f"270{5 + hour % 9:02d}KT"
        watch.raw(metar(observed, wind), now=observed + timedelta(minutes=3))
        watch.step(pipeline.Tick(), observed + timedelta(minutes=4))
    return watch


def test_reports_are_forgotten_with_the_entries_that_can_still_be_folded():
    watch = a_day_of_reports()
    entries = {entry.id for entry in watch.state.entries}
    assert 6 <= len(entries) <= 8
    assert watch.setup._decoded["XLKS"].keys() <= entries
    assert watch.setup._judged["XLKS"].keys() <= entries


def test_the_findings_of_the_newest_reports_alone_are_kept():
    watch = a_day_of_reports()
    newest = [entry.id for entry in watch.state.entries[-ready._JUDGED :]]
    judged = watch.setup._judged["XLKS"].keys()
    assert newest[-1] in judged
    assert judged <= set(newest)


def test_a_report_whose_findings_were_forgotten_is_judged_again_just_so():
    watch = a_day_of_reports()
    airfield = watch.fleet.airfields[0]
    oldest = watch.state.entries[0]
    assert oldest.id not in watch.setup._judged["XLKS"]
    again = watch.setup.read(airfield, oldest)
    assert again == pipeline.Setup(watch.fleet).read(airfield, oldest)
    assert len(watch.setup._judged["XLKS"]) == ready._JUDGED


def test_a_late_report_finds_its_place_though_the_findings_were_forgotten():
    late = metar(utc("1430", 23), "27035KT", kind="SPECI")
    now = utc("1800", 23)
    plain, other = a_day_of_reports(), a_day_of_reports()
    other.setup = pipeline.Setup(other.fleet)  # one that remembers nothing
    for watch in (plain, other):
        watch.step(pipeline.ReportsCame((RawReport(late, now, "recorded"),)), now)
    assert plain.books == other.books
    spans = plain.books.folded.track(TIE_DOWN).spans
    assert [span.opened_at for span in spans] == [utc("1430", 23)]


def test_an_airfield_is_laid_out_for_two_days_and_no_more(monkeypatch):
    made = []
    real = ready.plan_airfield

    def counted(*args):
        made.append(args)
        return real(*args)

    monkeypatch.setattr(ready, "plan_airfield", counted)
    watch = Watch(parked_fleet())
    airfield = watch.fleet.airfields[0]
    today = utc("1200").date()
    for days in (0, 1, 0, 1, 2, 1, 2):
        watch.setup.plan(airfield, today + timedelta(days=days))
    assert len(made) == 3
    assert len(watch.setup._plans["XLKS"]) == 2
