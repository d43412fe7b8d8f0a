"""Reports in their order: what is accepted, what replaces what (reliability section 2, F12-F27)."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.pipeline.little_field import (
    RUNWAYS,
    TIE_DOWN,
    Watch,
    an_airfield,
    flying_fleet,
    metar,
    parked_fleet,
    utc,
)
from windwatch.episodes.entries import Entry, Status, insert, read_entry
from windwatch.reports.raw import RawReport
from windwatch.rules import Rules

FIELD = an_airfield()


def judged(text: str, now: datetime, **more: object) -> tuple[Status, str]:
    raw = RawReport(text, now, "recorded", **more)  # type: ignore[arg-type]
    found = read_entry(raw, FIELD, Rules(), now)
    return found.status, found.reason


def status(watching: Watch) -> list[Status]:
    return [each.status for each in watching.last.judged]


# --- what is believed -------------------------------------------------------------


def test_a_report_of_the_station_is_accepted() -> None:
    assert judged(metar(utc("1253"), "18010KT"), utc("1256"))[0] is Status.ACCEPTED


def test_a_report_of_a_fall_back_waits() -> None:
    text = metar(utc("1253"), "18010KT", station="XBRN")
    assert judged(text, utc("1256"))[0] is Status.STANDBY


@pytest.mark.fault("F13")
def test_f13_the_text_of_another_station_is_quarantined() -> None:
    found = judged(metar(utc("1253"), "18010KT"), utc("1256"), station_asked="XBRN")
    assert found == (Status.QUARANTINED, "the text is of XLKS, but XBRN was asked for")
    assert judged(metar(utc("1253"), "18010KT", station="XELM"), utc("1256"))[0] is (
        Status.QUARANTINED
    )


@pytest.mark.fault("F14")
@pytest.mark.parametrize(
    ("ahead", "expected"),
    [(10, Status.ACCEPTED), (11, Status.QUARANTINED), (120, Status.QUARANTINED)],
)
def test_f14_an_observation_more_than_ten_minutes_ahead_is_quarantined(
    ahead: int, expected: Status
) -> None:
    observed = utc("1253") + timedelta(minutes=ahead)
    assert judged(metar(observed, "18010KT"), utc("1253"))[0] is expected


@pytest.mark.fault("F14")
def test_f14_the_future_does_not_refresh_and_does_not_block() -> None:
    watching = Watch(parked_fleet())
    watching.report("18030KT", "1500", received="1253")
    assert status(watching) == [Status.QUARANTINED]
    assert watching.state.wind is None
    assert watching.report("18030KT", "1253") == ["opened"]


@pytest.mark.fault("F12")
def test_f12_yesterdays_text_is_refused_by_the_date_of_the_feed() -> None:
    text = metar(utc("1253"), "18010KT")
    found, reason = judged(text, utc("1256", 23), observed_at=utc("1253", 23))
    assert found is Status.QUARANTINED
    assert "2026-09-23 12:53Z" in reason
    assert "22 12:53Z" in reason


@pytest.mark.fault("F12")
def test_f12_yesterdays_text_without_a_date_is_a_day_old() -> None:
    assert judged(metar(utc("1253"), "18010KT"), utc("1256", 23))[0] is Status.LATE


@pytest.mark.fault("F26")
@pytest.mark.parametrize(
    ("received", "observed"),
    [
        (datetime(2026, 10, 1, 0, 5, tzinfo=UTC), datetime(2026, 9, 30, 23, 53, tzinfo=UTC)),
        (datetime(2027, 1, 1, 0, 5, tzinfo=UTC), datetime(2026, 12, 31, 23, 53, tzinfo=UTC)),
        (datetime(2028, 3, 1, 0, 5, tzinfo=UTC), datetime(2028, 2, 29, 23, 53, tzinfo=UTC)),
    ],
)
def test_f26_the_right_date_over_the_edge_of_month_and_year(
    received: datetime, observed: datetime
) -> None:
    raw = RawReport(metar(observed, "18010KT"), received, "recorded")
    found = read_entry(raw, FIELD, Rules(), received)
    assert found.entry is not None
    assert found.entry.observed_at == observed


@pytest.mark.parametrize(("minutes", "expected"), [(360, Status.ACCEPTED), (361, Status.LATE)])
def test_older_than_six_hours_is_recorded_only(minutes: int, expected: Status) -> None:
    now = utc("1253") + timedelta(minutes=minutes)
    assert judged(metar(utc("1253"), "18010KT"), now)[0] is expected


@pytest.mark.parametrize("text", ["", "good morning", "METAR XLKS 18010KT", "METAR XLKS 329999Z"])
def test_what_is_no_report_is_unreadable(text: str) -> None:
    found, reason = judged(text, utc("1256"))
    assert found is Status.UNREADABLE
    assert reason


# --- identity ------------------------------------------------------------------------


@pytest.mark.fault("F16")
def test_f16_the_same_report_from_two_feeds_has_one_effect() -> None:
    watching = Watch(parked_fleet())
    text = metar(utc("1253"), "18030KT")
    first = watching.raw(text, now=utc("1256"))
    again = [
        watching.raw(odd, now=utc("1257"))
        for odd in (text, text.replace(" ", "   "), f"{text}=", text.removeprefix("METAR "))
    ]
    assert (first, again) == (["opened"], [[]] * 4)
    assert status(watching) == [Status.DUPLICATE]
    assert len(watching.state.entries) == 1


@pytest.mark.fault("F16")
def test_f16_five_hundred_repeats_change_nothing() -> None:
    watching = Watch(parked_fleet())
    text = metar(utc("1253"), "18030KT")
    watching.raw(text, now=utc("1256"))
    before = watching.books
    watching.raw(*[text] * 500, now=utc("1257"))
    assert watching.books is before


@pytest.mark.fault("F15")
def test_f15_old_and_new_by_turns_do_not_flap() -> None:
    watching = Watch(parked_fleet())
    old, new = metar(utc("1153"), "18010KT"), metar(utc("1253"), "18030KT")
    watching.raw(old, now=utc("1253"))
    made = [watching.raw(text, now=utc("1256")) for text in (new, old, new, old, new)]
    assert made == [["opened"], [], [], [], []]


@pytest.mark.fault("F17")
@pytest.mark.promise(4)
def test_f17_reverse_order_gives_the_same_state_and_one_notice() -> None:
    texts = [metar(utc(at), wind) for at, wind in (("1153", "18010KT"), ("1253", "18030KT"))]
    forward, backward = Watch(parked_fleet()), Watch(parked_fleet())
    forward.raw(*texts, now=utc("1256"))
    backward.raw(*reversed(texts), now=utc("1256"))
    assert forward.books == backward.books
    assert backward.told() == ["opened"]


# --- corrections -----------------------------------------------------------------------


@pytest.mark.fault("F18")
def test_f18_a_correction_takes_the_place_of_what_it_corrects() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1453")
    assert watching.report("COR 18013KT", "1453", received="1503") == ["withdrawn"]
    assert len(watching.state.entries) == 1
    assert watching.level() == "within"


@pytest.mark.fault("F19")
def test_f19_a_correction_that_adds_a_crossing_opens_and_is_named_so() -> None:
    watching = Watch(parked_fleet())
    watching.report("18013KT", "1453")
    assert watching.report("COR 18031KT", "1453", received="1503") == ["opened"]
    assert watching.steps[-1].reports[0].corrected


def test_the_original_behind_its_correction_has_no_effect() -> None:
    watching = Watch(parked_fleet())
    watching.report("COR 18013KT", "1453", received="1503")
    assert watching.report("18031KT", "1453", received="1504") == []
    assert status(watching) == [Status.DUPLICATE]


def test_a_second_correction_replaces_the_first() -> None:
    watching = Watch(parked_fleet())
    watching.report("CCA 18031KT", "1453", received="1503")
    assert watching.report("CCB 18013KT", "1453", received="1510") == ["withdrawn"]


def test_without_cor_the_worse_of_two_texts_for_one_time_counts() -> None:
    for first, second in (("18031KT", "18013KT"), ("18013KT", "18031KT")):
        watching = Watch(parked_fleet())
        watching.report(first, "1453")
        watching.report(second, "1453", received="1503")
        assert watching.level() == "over"
        # ... until the next report: the milder text does not count towards the way out.
        watching.report("18013KT", "1553")
        assert watching.level() == "over"
        assert watching.report("18013KT", "1653") == ["back"]


def test_a_correction_that_takes_the_wind_away_takes_the_knowledge_too() -> None:
    watching = Watch(parked_fleet())
    watching.report("18013KT", "1353")
    watching.report("18031KT", "1453")
    watching.report("COR", "1453", received="1503")
    assert watching.state.wind is not None
    assert watching.state.wind.at == utc("1353")


# --- order ---------------------------------------------------------------------------------


@pytest.mark.fault("F25")
def test_f25_speci_and_metar_three_minutes_apart_are_one_low_report() -> None:
    watching = Watch(parked_fleet(taxi=30))
    watching.report("18035KT", "1253")
    watching.report("18010KT", "1350", kind="SPECI")
    assert watching.report("18010KT", "1353") == []
    assert watching.report("18010KT", "1453") == ["back"]


@pytest.mark.fault("F25")
def test_speci_and_metar_of_one_minute_are_both_judged() -> None:
    watching = Watch(parked_fleet())
    watching.raw(
        metar(utc("1253"), "18010KT"), metar(utc("1253"), "18031KT", kind="SPECI"), now=utc("1256")
    )
    assert status(watching) == [Status.ACCEPTED] * 2
    assert watching.told() == ["opened"]


def test_speci_and_metar_of_one_minute_both_survive_being_settled() -> None:
    # After six hours entries become part of the checkpoint: those of one minute together.
    watching = Watch(parked_fleet())
    both = [metar(utc("1253"), "18010KT"), metar(utc("1253"), "18031KT", kind="SPECI")]
    watching.raw(*both, now=utc("1256"))
    watching.report("18024KT", "1953")
    watching.tick("1957")
    assert watching.state.settled_at == utc("1253")
    assert watching.state.checkpoint.track(TIE_DOWN).level.word == "over"


def test_a_late_report_finds_its_place() -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    watching.report("18010KT", "1353")
    watching.report("18024KT", "1423", kind="SPECI", received="1456")  # came late, not low
    assert watching.report("18010KT", "1453", received="1457") == []
    assert [e.observed_at for e in watching.state.entries] == [
        utc("1253"), utc("1353"), utc("1423"), utc("1453"),
    ]  # fmt: skip


def test_entries_are_ordered_by_time_correction_and_strength() -> None:
    def entry(name: str, at: str, correction: int = 0, strongest: float = 0.0) -> Entry:
        return Entry(name, "XLKS", "METAR", utc(at), utc(at), utc(at), "", correction, strongest)

    entries: tuple[Entry, ...] = ()
    for new in (entry("c", "1300"), entry("b", "1253", 0, 9.0), entry("a", "1253", 0, 20.0)):
        entries = insert(entries, new)
    assert [e.id for e in entries] == ["b", "a", "c"]
    assert [e.id for e in insert(entries, entry("d", "1253", 1))] == ["d", "c"]


# --- missing parts ----------------------------------------------------------------------------


@pytest.mark.fault("F20")
@pytest.mark.promise(7)
@pytest.mark.parametrize("wind", ["/////KT", ""])
def test_f20_a_report_without_wind_refreshes_no_wind_and_keeps_the_episode(wind: str) -> None:
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1253")
    assert watching.report(wind, "1353") == []
    assert watching.level() == "over"
    assert watching.state.wind is not None
    assert watching.state.wind.at == utc("1253")
    assert watching.state.weather is not None
    assert watching.state.weather.at == utc("1353")


@pytest.mark.fault("F20")
@pytest.mark.promise(7)
def test_f20_nil_refreshes_nothing() -> None:
    watching = Watch(parked_fleet())
    watching.report("18010KT", "1253")
    watching.raw("METAR XLKS 221353Z NIL", now=utc("1356"))
    assert watching.state.weather is not None
    assert watching.state.weather.at == utc("1253")


@pytest.mark.fault("F20")
@pytest.mark.promise(7)
def test_f20_speed_without_direction_opens_and_does_not_clear() -> None:
    watching = Watch(flying_fleet())
    assert "opened" in watching.report("///18KT", "1253")
    for hour in range(13, 17):
        assert watching.report("///03KT", f"{hour}53") == []
    assert watching.level(RUNWAYS) == "over"


def test_a_doubtful_wind_opens_and_does_not_clear() -> None:
    # The letter O for a nought is a likely reading, not a certain one.
    watching = Watch(parked_fleet())
    assert watching.report("1803OKT", "1253") == ["opened"]
    for hour in range(14, 20):
        watching.report("1801OKT", f"{hour}53")
    assert watching.level() == "over"
    watching.report("18010KT", "2053")
    assert watching.report("18010KT", "2153") == ["back"]


# --- a stuck sensor -----------------------------------------------------------------------------


def stuck(neighbour: str) -> Watch:
    """Over at 11:53, then calm: with thunder until 14:53, fair from then on."""
    watching = Watch(parked_fleet())
    watching.report("18031KT", "1153")
    for hour in range(12, 17):
        watching.report(neighbour, f"{hour}50", station="XBRN")
        rest = "3SM TSRA BKN040 20/10 A2990" if hour < 15 else "10SM CLR 20/10 A2990"
        watching.report("00000KT", f"{hour}53", rest)
    return watching


def test_a_long_calm_is_believed_where_the_neighbour_is_calm_too() -> None:
    assert stuck("18010KT").level() == "within"


def test_a_sensor_in_doubt_is_shown_and_clears_nothing() -> None:
    watching = stuck("18011KT")
    assert watching.last.judged[0].reason == (
        "in doubt: the very same wind for 3 hours, while XBRN blows over 10 kt"
    )
    assert [e.in_doubt for e in watching.state.entries if not e.fall_back][-2:] == [True, True]
    assert watching.level() == "over"
    # The wind moves again: two reports of that are enough.
    watching.report("18003KT", "1753")
    assert watching.report("18004KT", "1853") == ["back"]


def test_a_wind_that_changed_within_three_hours_is_not_in_doubt() -> None:
    watching = Watch(parked_fleet())
    for hour, wind in ((11, "00000KT"), (12, "18003KT"), (13, "00000KT"), (15, "00000KT")):
        watching.report("18015KT", f"{hour}50", station="XBRN")
        watching.report(wind, f"{hour}53")
    assert not any(e.in_doubt for e in watching.state.entries)
