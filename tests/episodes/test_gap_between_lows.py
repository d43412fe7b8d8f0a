"""A low report that had become stale before the next came is no step towards *back within limits*.

Reliability, section 2: "at least 2 distinct fresh reports"; promise 7: only fresh, complete
observations close an episode. Between two reports further apart than the airfield's `stale_after`
lies an outage, of the station or of the watch, in which nothing was known.
"""

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest

from tests.pipeline.little_field import (
    RUNWAYS,
    Watch,
    a_fleet,
    an_aircraft,
    an_airfield,
    flying_fleet,
    limits,
    metar,
    parked_fleet,
    utc,
)
from windwatch import pipeline
from windwatch.episodes.clock_doubt import Conditions, Gap
from windwatch.episodes.rules_changed import ruled_at
from windwatch.episodes.state import AirfieldState, Ruled
from windwatch.fleet import Fleet, OperatingHours
from windwatch.reports.raw import RawReport
from windwatch.rules import Rules
from windwatch.store.codec import from_json, to_json

pytestmark = pytest.mark.promise(7)

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def with_airfield(fleet: Fleet, **more: object) -> Fleet:
    return replace(fleet, airfields=tuple(replace(a, **more) for a in fleet.airfields))


def restart(watching: Watch) -> None:
    """From what the store keeps."""
    kept = from_json(to_json(watching.state, AirfieldState), AirfieldState)
    watching.books = pipeline.restore(watching.setup, watching.fleet.airfields[0], kept)


def test_a_report_of_yesterday_and_one_of_today_are_not_back() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    for at in ("1508", "1553", "2100"):
        watching.tick(at)
    assert watching.told()[-1] == "no_data"
    assert "back" not in watching.report("18010KT", "1353", day=23)
    assert watching.told()[-1] == "data_back"
    assert watching.level() == "over"
    assert watching.report("18010KT", "1453", day=23) == ["back"]
    closing = [ref.observed_at for ref in watching.steps[-1].reports]
    assert closing == [utc("1353", 23), utc("1453", 23)]


def test_the_same_holds_where_the_old_report_has_been_settled_and_read_from_the_store() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.tick("2100")
    assert watching.state.settled_at == utc("1353")
    restart(watching)
    watching.report("18010KT", "1353", day=23)
    assert watching.level() == "over"


@pytest.mark.parametrize("restarted", [False, True])
def test_an_outage_of_the_watch_is_a_gap_where_the_feed_has_nothing_of_it(restarted: bool) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    if restarted:
        restart(watching)
    since, now = utc("1400"), utc("1856")
    report = RawReport(metar(utc("1853"), "18010KT"), now, "recorded")
    outcome = pipeline.step(
        watching.setup,
        watching.books,
        pipeline.ReportsCame((report,)),
        now,
        Conditions(not_watched=Gap(since, now)),
    )
    watching.books = outcome.books
    assert "back" not in [step.name for step in outcome.steps]
    assert watching.level() == "over"


def test_an_outage_of_the_watch_is_no_gap_where_the_feed_has_every_report_of_it() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    reports = [metar(utc(at), "18010KT") for at in ("1453", "1553", "1653")]
    assert "back" in watching.raw(*reports, now=utc("1656"))


def test_a_late_report_that_fills_the_gap_counts() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1553")
    assert watching.level() == "over"
    watching.report("18010KT", "1453", received="1610")
    assert watching.level() == "within"
    assert watching.told()[-1] == "back"


def test_what_fills_the_gap_and_is_high_does_not() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1553")
    watching.report("18024KT", "1453", received="1610")
    assert watching.level() == "over"


@pytest.mark.parametrize("quantity", ["taxi", "tie_down", "shelter"])
def test_with_one_hourly_report_missing_the_end_waits_for_two_more(quantity: str) -> None:
    watching = Watch(parked_fleet(**{quantity: 25}))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    assert "back" not in watching.report("18010KT", "1553")
    assert watching.report("18010KT", "1653") == ["back"]


def test_a_report_without_wind_is_one_that_is_missing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("/////KT", "1453")
    assert "back" not in watching.report("18010KT", "1553")
    assert watching.report("18010KT", "1653") == ["back"]


def test_each_runway_counts_anew_after_a_gap() -> None:
    watching = Watch(flying_fleet())
    watching.report("13531KT", "1253")  # 22 kt across both
    assert watching.level(RUNWAYS) == "over"
    watching.report("18010KT", "1353")
    assert "back" not in watching.report("18010KT", "1553")
    assert watching.level(RUNWAYS) == "over"
    assert "back" in watching.report("18010KT", "1653")


def test_a_night_in_which_the_station_is_closed_is_a_gap_too() -> None:
    # It closes at 22:00 in New York, 02:00Z, and opens at 06:00, 10:00Z.
    hours = OperatingHours(time(6), time(22))
    watching = Watch(with_airfield(parked_fleet(), reports_between=hours))
    watching.report("18031KT", "0053", day=23)
    watching.report("18010KT", "0153", day=23)
    for at in ("0308", "0600", "1000"):
        watching.tick(at, day=23)
    assert "back" not in watching.report("18010KT", "1053", day=23)
    assert watching.level() == "over"
    assert watching.report("18010KT", "1153", day=23) == ["back"]
    assert [ref.observed_at for ref in watching.steps[-1].reports] == [
        utc("1053", 23),
        utc("1153", 23),
    ]


@pytest.mark.parametrize(
    ("minutes", "back"),
    [((0, 5, 10), True), ((0, 9, 18), True), ((0, 10), False), ((0, 10, 19), False)],
)
def test_an_anemometer_of_the_fields_own_clears_by_a_chain_of_its_reports(
    minutes: tuple[int, ...], back: bool
) -> None:
    often = an_airfield(reports_every=MINUTE, stale_after=10 * MINUTE, no_data_after=20 * MINUTE)
    watching = Watch(a_fleet(an_aircraft(own=limits("X-LARK", tie_down=25)), airfield=often))
    watching.report("18031KT", "1253")
    for minute in minutes:
        observed = utc("1355") + minute * MINUTE
        raw = RawReport(metar(observed, "18010KT"), observed, "json")
        watching.step(pipeline.ReportsCame((raw,)), observed)
    assert (watching.level() == "within") is back


def test_thunder_still_goes_back_with_one_report() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253", "2SM TSRA BKN030CB 20/18 A2980")
    assert "back" in watching.report("18010KT", "1253", day=23)


# --- the configuration changes ------------------------------------------------------------


@pytest.mark.parametrize("restarted", [False, True])
def test_a_longer_staleness_ends_nothing_before_the_next_report(restarted: bool) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18010KT", "1553")
    # By three hours these two would have been enough; they were judged by 75 minutes.
    watching.reload(with_airfield(watching.fleet, stale_after=3 * HOUR))
    if restarted:
        restart(watching)
    assert watching.tick("1600") == []
    assert watching.level() == "over"
    # A correction has everything judged anew, each report by what was in force at its place.
    assert watching.report("COR 18011KT", "1553", received="1605") == []
    assert watching.level() == "over"
    assert watching.report("18010KT", "1653") == ["back"]


@pytest.mark.parametrize("restarted", [False, True])
def test_a_shorter_staleness_takes_no_all_clear_back(restarted: bool) -> None:
    watching = Watch(with_airfield(parked_fleet(), stale_after=3 * HOUR))
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    assert watching.report("18010KT", "1553") == ["back"]
    watching.reload(with_airfield(watching.fleet, stale_after=75 * MINUTE))
    if restarted:
        restart(watching)
    assert watching.tick("1600") == []
    assert watching.report("COR 18011KT", "1553", received="1605") == []
    assert watching.level() == "within"


def test_the_staleness_in_force_is_kept_with_the_figures_of_judgement() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    watching.report("18010KT", "1253")
    watching.reload(with_airfield(fleet, stale_after=3 * HOUR))
    watching.tick("1300")
    restart(watching)
    assert ruled_at(watching.state, utc("1253")).stale_after == 75 * MINUTE
    assert ruled_at(watching.state, utc("1353")).stale_after == 3 * HOUR
    watching.reload(fleet)
    watching.tick("1301")
    assert [ruled.stale_after for ruled in watching.state.ruled] == [75 * MINUTE]


def test_books_of_a_version_that_did_not_keep_it_go_by_the_one_configured() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    began = datetime(2026, 9, 22, 12, tzinfo=UTC)
    old = replace(watching.state, ruled=(Ruled(began, Rules()),))
    watching.books = pipeline.restore(watching.setup, watching.fleet.airfields[0], old)
    assert "back" not in watching.report("18010KT", "1553")
    assert watching.report("18010KT", "1653") == ["back"]
