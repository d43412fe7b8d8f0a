"""The pages' values, from the demo day in a real store."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import radians, sin
from pathlib import Path

import pytest

from tests.board.played import FRONT, MINUTE, Played, played, stands_in, texts_in
from windwatch.airmanship.cautions import CAUTION
from windwatch.assessment.values import Mark
from windwatch.board import view
from windwatch.board.as_json import as_json
from windwatch.board.page_values import FieldPage
from windwatch.notices.words import NOT_YET

HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    """Just after the gust front; only looked at."""
    with played(tmp_path_factory.mktemp("front"), FRONT) as day:
        yield day


@pytest.fixture(scope="module")
def page(front: Played) -> FieldPage:
    return view.field_page(front.snapshot(FRONT), "XLKS", FRONT)


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Played]:
    """A day of one's own, not begun."""
    with played(tmp_path) as found:
        yield found


def field_of(day: Played, unit: str = "kt", chosen: str | None = None) -> FieldPage:
    return view.field_page(day.snapshot(), "XLKS", day.now, unit, chosen)


def nothing_is_known(page: FieldPage) -> None:
    """No level anywhere but unknown, for people and for machines."""
    assert {stand.mark for stand in stands_in(page)} == {Mark.UNKNOWN}
    # What was sent, and what came back before, are past.
    present = {k: v for k, v in as_json(page).items() if k not in ("notices", "wind_strip")}
    assert "'level': 'within'" not in str(present)
    assert not page.wind_known
    assert all(not leg.holds for leg in page.legs)
    assert all(not row.remaining for row in page.subjects)
    assert all(end.crosswind_kt is None for row in page.subjects for end in row.ends)
    assert all(card.lift == "" and card.lift_share is None for card in page.parked)
    assert page.todo.runways == ()
    if page.drawing is not None:
        marks = {end.mark for runway in page.drawing.field.runways for end in runway.ends}
        assert marks <= {Mark.UNKNOWN, None}
        assert page.drawing.field.wind is None


# --- what is over ------------------------------------------------------------------


def test_what_to_do_is_said_in_the_very_words_of_a_notice(front: Played, page: FieldPage) -> None:
    sent = next(n for n in page.notices if n.contact == "operations desk" and n.kind == "alert")
    text = front.reading.notice(sent.id).read.text.replace("\n", " ")
    squeezed = re.sub(r"\s+", " ", text)
    assert page.todo.headline.startswith("Over: tie-down X-WREN 41 kt > 22 kt, and ")
    # What was worse than told before to that contact is just over to whoever looks.
    assert "tie-down X-WREN 41 kt > 22 kt, and " in squeezed
    assert page.todo.sentences[0] in squeezed
    assert page.todo.sentences[3] in squeezed
    assert "Tie down X-WREN, X-LARK and X-TERN now." in page.todo.sentences


def test_people_come_before_aircraft(page: FieldPage) -> None:
    assert page.todo.sentences[0].startswith("Recall those out and stop taxiing")
    assert page.todo.stand.mark is Mark.OVER
    assert page.thunder is not None
    assert page.thunder.stand.mark is Mark.OVER


def test_a_figure_can_be_checked_by_hand(page: FieldPage) -> None:
    """300/28G41 on 28, heading 271.4 true: 41 × sin 28.6° = 19.6 against the student's 7."""
    student = page.subjects[0]
    assert student.who == "X-LARK / student solo"
    end = next(each for each in student.ends if each.end == "28")
    assert end.deciding is not None
    assert end.deciding.figure_kt == pytest.approx(41 * sin(radians(28.6)), abs=0.05)
    assert end.deciding.words == "19.6 kt > 7 kt"
    assert end.deciding.margin_kt == -12.6
    assert end.deciding.margin_words == "12.6 kt over"
    assert end.deciding.whose == "student solo"
    assert end.across == "crosswind 19.6 kt from the right"
    assert student.remaining == ()
    assert student.remains.startswith("no runway within limits: 28 crosswind 19.6 kt > 7 kt")


def test_open_episodes_are_those_of_the_store(front: Played, page: FieldPage) -> None:
    stored = {each.id for each in front.store.episodes(open_only=True)}
    shown = {each.id for each in page.episodes}
    assert shown
    assert shown <= stored
    assert "now 41 kt > 22 kt; over since 12:53 local (16:53Z), worst 41 kt" in {
        each.text for each in page.episodes
    }


def test_control_positions_are_named_on_each_leg(page: FieldPage) -> None:
    first = page.legs[0]
    assert first.name == "apron to hold 28"
    assert [hold.aircraft for hold in first.holds] == [("X-LARK", "X-TERN"), ("X-WREN",)]
    assert first.holds[0].held == "turn left, forward"
    assert first.holds[0].words.startswith("quartering tailwind from the right: turn left")
    assert page.legs_note == ""


def test_parked_aircraft_have_figure_lift_and_reminders(page: FieldPage) -> None:
    wren = next(card for card in page.parked if card.aircraft == "X-WREN")
    assert [each.name for each in wren.figures] == ["tie-down", "shelter", "taxi wind"]
    assert wren.stand.mark is Mark.OVER
    assert wren.lift_share is not None
    # (41/38)² × 0.7 of the largest lift, at the largest weight.
    assert wren.lift_share[0] == pytest.approx((41 / 38) ** 2 * 0.7, abs=0.001)
    assert wren.reminders


def test_the_strip_has_the_day_its_limits_and_its_crossings(page: FieldPage) -> None:
    assert len(page.strip.points) == 10
    assert page.strip.points[-1].wind is not None
    assert {limit.label for limit in page.strip.limits} >= {
        "X-WREN tie-down", "student solo total wind"
    }  # fmt: skip
    assert page.strip.limits == tuple(sorted(page.strip.limits))
    crossed = [flag for flag in page.strip.flags if flag.mark is Mark.OVER]
    assert "runways X-TERN / dual" in crossed[-1].text
    assert any(flag.mark is None and "to " in flag.text for flag in page.strip.flags)


def test_stations_stand_side_by_side(page: FieldPage) -> None:
    main, other = page.stations
    assert (main.role, main.in_use, main.known, main.age_min) == ("main station", True, True, 3)
    assert main.trend.startswith("rising: mean 16 kt three hours ago, 23 kt in the last hour")
    assert main.due is not None
    assert not main.overdue
    assert (other.id, other.role, other.in_use) == ("XBRN", "fall-back 1", False)
    assert other.where == "25 NM from the field, bearing 270 true, 50 ft higher than the field"


def test_the_field_is_drawn_for_whom_the_wind_restricts_most_or_for_the_one_chosen(
    front: Played, page: FieldPage
) -> None:
    assert page.drawing is not None
    assert page.drawing.who == "X-LARK / student solo"
    ends = page.drawing.field.runways[0].ends
    assert [(e.name, e.figure, e.reason) for e in ends] == [
        ("10", "36 > 8 kt", "tailwind"), ("28", "19.6 > 7 kt", "crosswind"),
    ]  # fmt: skip
    chosen = field_of(front, chosen="X-TERN/dual").drawing
    assert chosen is not None
    assert chosen.who == "X-TERN / dual"
    unheard_of = field_of(front, chosen="nobody").drawing
    assert unheard_of == page.drawing


def test_other_units_stand_beside_and_change_no_level(front: Played, page: FieldPage) -> None:
    metric = field_of(front, unit="m/s")
    end = metric.subjects[0].ends[0]
    assert end.deciding is not None
    assert (end.deciding.words, end.deciding.beside) == ("19.6 kt > 7 kt", "10.1 > 3.6 m/s")
    assert metric.wind.beside == "14.4 m/s, gust 21.1 m/s"
    assert [s.mark for s in stands_in(metric)] == [s.mark for s in stands_in(page)]
    assert as_json(metric) == as_json(page)
    with pytest.raises(ValueError, match="furlong"):
        field_of(front, unit="furlong")


def test_every_page_can_be_made_and_bears_the_caution(front: Played) -> None:
    snapshot = front.snapshot(FRONT)
    field = view.field_page(snapshot, "XLKS", FRONT)
    pages = [
        field,
        view.overview(snapshot, FRONT),
        view.ramp_card(snapshot, "XLKS", "X-LARK", FRONT),
        view.episode_page(snapshot, front.reading.episode(field.episodes[0].id), FRONT),
        view.notices_page(snapshot, front.reading.notices(FRONT), FRONT),
        view.notice_page(snapshot, front.reading.notice(field.notices[0].id), FRONT),
        view.about_page(snapshot, FRONT),
    ]
    for each in pages:
        assert CAUTION in each.frame.caution
        assert each.frame.version == field.frame.version
        for text in texts_in(each):
            assert not re.search(r"\bsafe|all clear|\bleft within\b|!", text, re.IGNORECASE), text


def test_a_ramp_card_is_about_one_aircraft(front: Played) -> None:
    card = view.ramp_card(front.snapshot(FRONT), "XLKS", "X-WREN", FRONT)
    assert card.day == "22 Sep 2026"
    assert card.types == "tailwheel, high wing"
    assert {row.aircraft for row in card.subjects} == {"X-WREN"}
    assert {name for leg in card.legs for hold in leg.holds for name in hold.aircraft} == {"X-WREN"}
    assert "Tie down X-WREN now." in card.todo.sentences
    assert not any("X-LARK" in text for text in card.todo.sentences)
    assert "tie-down 22 kt (X-WREN)" in {line.words for line in card.limits}
    assert {line.applies_to for line in card.limits} == {"in flight, owner", "on the ground"}
    # Of aircraft and standard, the smaller.
    assert "crosswind 10 kt (X-WREN)" in {line.words for line in card.limits}
    with pytest.raises(KeyError):
        view.ramp_card(front.snapshot(FRONT), "XLKS", "X-NONE", FRONT)
    with pytest.raises(KeyError):
        view.field_page(front.snapshot(FRONT), "XNONE", FRONT)


# --- what is not known ---------------------------------------------------------------


def test_a_watch_that_is_silent_for_three_intervals_makes_every_level_unknown(
    front: Played,
) -> None:
    interval = front.settings.feed.every
    snapshot = front.snapshot(FRONT)
    still = FRONT + 3 * interval
    assert view.field_page(snapshot, "XLKS", still).wind_known
    page = view.field_page(snapshot, "XLKS", still + timedelta(seconds=1))
    nothing_is_known(page)
    assert page.todo.stand.words == "unknown, last known over"
    assert page.subjects[0].stand.last_known is Mark.OVER
    assert [b.kind for b in page.frame.banners if b.grave] == ["watch"]
    assert page.frame.watch.words == "not running"
    assert snapshot.version(still) != snapshot.version(still + timedelta(seconds=1))


@pytest.mark.parametrize(
    "state",
    [
        pytest.param({"state": "stopped"}, id="stopped"),
        pytest.param({"pid": 2**22 + 1}, id="its process is gone"),
        pytest.param({"store_problem": "the disk is full"}, id="it cannot write its record"),
        pytest.param({"state": "standing by"}, id="it stands by, and nobody leads"),
    ],
)
def test_what_no_watch_keeps_up_is_not_known(day: Played, state: dict[str, object]) -> None:
    day.play(FRONT)
    day.beat(**state)
    page = field_of(day)
    nothing_is_known(page)
    assert any(banner.grave for banner in page.frame.banners)


def test_without_any_watch_nothing_is_known(day: Played) -> None:
    page = field_of(day)
    nothing_is_known(page)
    assert page.todo.stand.last_known is None
    assert page.frame.banners[0].headline == "No watch is running on this store"
    overview = view.overview(day.snapshot(), day.now)
    assert {stand.mark for stand in stands_in(overview)} == {Mark.UNKNOWN}


def test_a_stale_station_makes_levels_unknown_with_the_last_known_beside(day: Played) -> None:
    begin = datetime(2026, 9, 22, 12, 0, tzinfo=UTC)
    day.take("METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980", begin)
    fresh = field_of(day)
    assert fresh.wind_known
    assert fresh.subjects[0].stand.mark is Mark.WITHIN
    assert (
        fresh.todo.headline
        == "Within: 28, 19 and 1 remain within limits for everybody here; your decision"
    )
    day.wait(begin + timedelta(minutes=67))
    assert field_of(day).wind_known
    assert {b.kind for b in field_of(day).frame.banners} == {"overdue"}
    day.wait(begin + timedelta(minutes=68))
    page = field_of(day)
    nothing_is_known(page)
    assert page.subjects[0].stand.words == "unknown, last known within"
    assert [b.kind for b in page.frame.banners] == ["stale"]
    assert "07:53 local (11:53Z)" in page.frame.banners[0].headline
    assert page.overdue
    assert any(s.startswith("Nothing is known of the present wind") for s in page.todo.sentences)


def test_a_wind_that_was_never_reported_is_unknown_and_not_calm(day: Played) -> None:
    day.take(
        "METAR XLKS 221153Z /////KT 10SM CLR 23/12 A2980", datetime(2026, 9, 22, 12, tzinfo=UTC)
    )
    page = field_of(day)
    assert page.wind.short == "wind not reported"
    assert page.todo.stand == (Mark.UNKNOWN, None, "")
    assert all(leg.holds == () for leg in page.legs)
    assert page.subjects == ()
    assert page.drawing is None
    assert page.stations[0].wind is None


def test_a_newer_report_without_a_wind_is_told_in_a_banner(day: Played) -> None:
    day.take(
        "METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980", datetime(2026, 9, 22, 12, tzinfo=UTC)
    )
    day.take(
        "SPECI XLKS 221210Z /////KT 10SM CLR 23/12 A2980", datetime(2026, 9, 22, 12, 11, tzinfo=UTC)
    )
    page = field_of(day)
    assert page.wind_known
    assert [b.kind for b in page.frame.banners] == ["no wind"]


def test_a_fall_back_is_named_and_counts(day: Played) -> None:
    begin = datetime(2026, 9, 22, 12, 0, tzinfo=UTC)
    day.take("METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980", begin)
    day.take("METAR XBRN 221253Z 29022G33KT 10SM OVC045 15/10 A2990", begin + HOUR)
    day.wait(begin + timedelta(minutes=70))
    page = field_of(day)
    assert page.wind_known
    assert page.station_in_use == "XBRN"
    assert {"fall-back", "weather"} <= {b.kind for b in page.frame.banners}
    assert page.legs_note == "By the wind of XBRN, not the field's own; the windsock decides."
    assert [(s.id, s.in_use, s.known) for s in page.stations] == [
        ("XLKS", False, False), ("XBRN", True, True),
    ]  # fmt: skip
    assert page.thunder is not None
    assert page.thunder.stand.mark is Mark.UNKNOWN


def test_a_store_that_cannot_be_read_makes_all_unknown(front: Played) -> None:
    snapshot = replace(front.snapshot(FRONT), store_problem=True)
    page = view.field_page(snapshot, "XLKS", FRONT)
    nothing_is_known(page)
    assert page.frame.banners[0].kind == "store"


# --- lulls, ends, other things -----------------------------------------------------------


def test_a_lull_clears_nothing(day: Played) -> None:
    day.play(FRONT)
    at = FRONT + timedelta(minutes=31)
    day.take("SPECI XLKS 221941Z 30008KT 10SM CLR 20/15 A2978", at)
    page = field_of(day)
    student = page.subjects[0]
    assert student.stand == (Mark.OVER, None, NOT_YET)
    best = student.ends[0]
    assert best.deciding is not None
    assert best.deciding.figure_kt < best.deciding.limit_kt
    assert best.stand.mark is Mark.OVER
    assert student.remaining == ()
    assert page.drawing is not None
    drawn = [end for runway in page.drawing.field.runways for end in runway.ends]
    assert all(end.mark is Mark.OVER for end in drawn)
    assert any(end.reason.endswith("not yet back") for end in drawn)
    easing = next(e for e in page.episodes if e.subject == "tie-down X-WREN")
    assert easing.easing
    assert easing.stand.note == NOT_YET
    assert page.todo.stand.mark is Mark.OVER
    assert any(s.startswith(f"Wait, {NOT_YET}: ") for s in page.todo.sentences)


def test_an_episode_that_ended_shows_how_its_subject_stands_now(day: Played) -> None:
    day.play(datetime(2026, 9, 22, 23, 10, tzinfo=UTC))
    closed = [e for e in day.store.episodes() if e.closed_at is not None]
    assert closed
    snapshot = day.snapshot()
    for each in closed:
        page = view.episode_page(snapshot, day.reading.episode(each.id), day.now)
        assert not page.can_acknowledge
        assert page.episode.closed is not None
        assert page.episode.closing
        dark = view.episode_page(snapshot, day.reading.episode(each.id), day.now + HOUR)
        assert dark.episode.stand.mark is Mark.UNKNOWN


def test_report_text_with_markup_and_unseen_characters_is_shown_as_text(day: Played) -> None:
    hostile = "METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980 RMK <SCRIPT>\u202eX</SCRIPT>"
    day.take(hostile, datetime(2026, 9, 22, 12, tzinfo=UTC))
    raw = field_of(day).evidence[0].raw
    assert "<SCRIPT>" in raw
    assert raw.isprintable()
    assert field_of(day).stations[0].raw == raw


def test_an_aircraft_without_limits_is_judged_by_none(day: Played) -> None:
    day.take(
        "METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980", datetime(2026, 9, 22, 12, tzinfo=UTC)
    )
    snapshot = day.snapshot()
    bare = replace(
        snapshot.fields[0],
        newest_main=None if snapshot.fields[0].newest_main is None else (
            *snapshot.fields[0].newest_main[:2],
            snapshot.fields[0].newest_main[2]._replace(runways=(), ground=()),
        ),
    )  # fmt: skip
    page = view.field_page(replace(snapshot, fields=(bare,)), "XLKS", day.now)
    assert page.todo.stand == (Mark.UNKNOWN, None, "")
    assert page.todo.headline == "Nothing is judged here: no limit is configured"


@pytest.mark.parametrize(
    ("state", "kind", "grave"),
    [
        ({"clock_problem": "it stepped by 3600 s"}, "clock", True),
        ({"unreached": ("owner of X-WREN",)}, "delivery", True),
        ({"deliveries_dead": 2}, "delivery", False),
        ({"feed_problem": "it did not answer within 20 s"}, "feed", False),
        ({"config_problem": "field.toml, line 3: no number"}, "config", False),
    ],
)
def test_troubles_of_the_watch_are_banners(
    day: Played, state: dict[str, object], kind: str, grave: bool
) -> None:
    day.play(FRONT - 2 * MINUTE)
    day.beat(**state)
    found = [(b.kind, b.grave) for b in field_of(day).frame.banners]
    assert (kind, grave) in found
