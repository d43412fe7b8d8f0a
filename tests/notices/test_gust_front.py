"""The gust front of the demo day, as the operations desk and the owner read it."""

import itertools
from dataclasses import replace

import pytest

from windwatch.notices.compose import compose


def plain(text):
    """Words without the line breaks of the phone."""
    return " ".join(text.split())


def section(text, title):
    """The rows below a title."""
    return plain(text.split(f"\n{title}\n", 1)[1].split("\n\n", 1)[0])


# --- the gust front -------------------------------------------------------------


@pytest.fixture(scope="module")
def gust_front_content(fleet, gust_front, desk_steps, desk_open):
    return compose(gust_front.notice(*desk_steps), gust_front.with_open(*desk_open), fleet)


def test_subject_alone_tells_field_time_wind_what_is_over_and_by_how_much(gust_front_content):
    assert gust_front_content.subject == (
        "XLKS 15:07 local: 300/28G41 kt, thunderstorm - over: tie-down X-WREN 41 > 22, "
        "X-LARK 41 > 25, +8 more"
    )


def test_first_line_tells_level_subject_figure_limit_both_times_and_validity(gust_front_content):
    first = gust_front_content.text.splitlines()[0]
    assert first == (
        "Over, worse than told before: tie-down X-WREN 41 kt > 22 kt, and 10 more; "
        "observed 22 Sep 15:07 local (19:07Z); valid until 16:22 local (20:22Z)"
    )


def test_text_keeps_the_order_of_reading(gust_front_content):
    lines = gust_front_content.text.splitlines()
    titles = [line for above, line in itertools.pairwise(lines) if not above and line.isupper()]
    assert titles == [
        "WHAT TO DO",
        "FIGURES AND LIMITS",
        "WHY",
        "CONTROLS WHILE TAXIING (YOKE, CONTROL COLUMN OR STICK)",
        "PARKED AIRCRAFT (TIE-DOWN OR PICKETING)",
        "STILL OPEN",
        "EVIDENCE",
        "CAUTION",
    ]


def test_people_come_first_then_taxiing_then_parked_aircraft(gust_front_content):
    do = section(gust_front_content.text, "WHAT TO DO")
    places = [
        do.index(part)
        for part in (
            "Recall those out and stop taxiing: thunderstorm at the field",
            "Keep X-TERN / dual down (down before: X-LARK / student solo, dual; X-WREN / owner)",
            "Tie down X-LARK and X-TERN now.",
            "Check the tie-downs of X-WREN again.",
            "X-WREN and X-LARK: past the shelter limit.",
            "Make room in the hangar for X-TERN",
        )
    ]
    assert places == sorted(places)


def test_aircraft_with_the_same_answer_share_a_line(gust_front_content):
    figures = section(gust_front_content.text, "FIGURES AND LIMITS")
    assert "[over] Tie-down: 41 kt > X-WREN 22 kt (worse), X-LARK 25 kt, X-TERN 30 kt" in figures
    assert "[near] Shelter: 41 kt of X-TERN 45 kt" in figures
    assert (
        "X-TERN / dual: no runway within limits: 28 total wind 41 kt > 28 kt (dual); "
        "1 crosswind 35.9 kt > 17 kt (X-TERN)"
    ) in figures


def test_why_tells_wind_true_and_magnetic_peak_shift_age_and_next_report(gust_front_content):
    why = section(gust_front_content.text, "WHY")
    for fact in (
        "Wind from 300 true (312 magnetic), 28 kt, gusts 41 kt",
        "Peak 41 kt from 300 true at 15:03 local (19:03Z)",
        "Wind shift at 14:56 local (18:56Z)",
        "Observed 15:07 local (19:07Z), 2 min old",
        "Next report is due 15:53 local (19:53Z)",
        "Rain reported",
    ):
        assert fact in why


def test_every_taxi_leg_tells_how_each_gear_is_held(gust_front_content):
    taxi = section(
        gust_front_content.text, "CONTROLS WHILE TAXIING (YOKE, CONTROL COLUMN OR STICK)"
    )
    # 300° on 181° true: 119° right of the nose, a quartering tailwind; the same for both gears.
    assert (
        "Apron to hold 28, heading 193 magnetic, 181 true: quartering tailwind from the right "
        "Nosewheel (X-LARK, X-TERN) and tailwheel (X-WREN): turn left, forward"
    ) in taxi
    assert "most critical" in taxi
    assert "Tailwheel (X-WREN): turn right, back" in taxi
    assert "Nosewheel (X-LARK, X-TERN): turn right, pitch neutral" in taxi


def test_parked_aircraft_get_wing_lift_as_a_band_with_its_warning(gust_front_content):
    parked = section(gust_front_content.text, "PARKED AIRCRAFT (TIE-DOWN OR PICKETING)")
    # (41/38)² is 1.16: 0.7 of it at full weight, all of it over 0.7 of the weight.
    assert "X-WREN 81 % to 166 %" in parked
    assert "A quartering wind overturns an aeroplane far below 100 %" in parked
    assert "Point the nose north-west" in parked
    assert "Fly it out" not in parked  # the wind is here


def test_what_is_open_besides_is_listed_with_its_present_figure(gust_front_content):
    rows = section(gust_front_content.text, "STILL OPEN")
    assert "Runways X-LARK / student solo: now crosswind 19.6 kt > 7 kt" in rows
    assert "over since 11:53 local (15:53Z)" in rows
    assert "Tie-down" not in rows  # told above


def test_evidence_quotes_the_report_as_received_on_one_line(gust_front_content, gust_front):
    assert f"\n  {gust_front.raw}\n" in gust_front_content.text
    assert "received 15:09 local (19:09Z)" in plain(gust_front_content.text)


def test_lines_fit_a_phone_but_for_the_first_and_the_quoted_report(gust_front_content, gust_front):
    lines = gust_front_content.text.splitlines()
    long = [line for line in lines[1:] if len(line) > 60 and gust_front.raw not in line]
    assert long == []


def test_the_owner_reads_the_tie_down_before_the_taxi_legs(
    fleet, gust_front, desk_steps, desk_open
):
    own = [s for s in desk_steps if s.track.aircraft in ("X-WREN", "")]
    notice = gust_front.notice(*own, contact="owner of X-WREN")
    text = compose(notice, gust_front.with_open(), fleet).text
    assert text.index("PARKED AIRCRAFT") < text.index("CONTROLS WHILE TAXIING")
    assert "X-LARK" not in text
    assert "Not at the field? Ask somebody there." in text


def test_same_input_gives_same_bytes(fleet, gust_front, desk_steps, desk_open):
    notice, situation = gust_front.notice(*desk_steps), gust_front.with_open(*desk_open)
    assert compose(notice, situation, fleet) == compose(notice, situation, fleet)
    shuffled = replace(notice, steps=notice.steps[::-1])
    assert compose(shuffled, situation, fleet).text == compose(notice, situation, fleet).text


def test_the_gust_front_reads_as_it_was_judged_by_eye(gust_front_content, root):
    """Read on a phone by a desk: change the file only after reading the new text like that."""
    golden = root / "tests" / "notices" / "gust_front_desk.txt"
    told = f"Subject: {gust_front_content.subject}\n\n{gust_front_content.text}"
    assert told == golden.read_text(encoding="utf-8")
