"""One report against every subject (design section 4)."""

from dataclasses import replace
from datetime import date, datetime

import pytest

from tests.pipeline.little_field import (
    EAST_WEST,
    NORTH_SOUTH,
    a_fleet,
    an_aircraft,
    an_airfield,
    limits,
    metar,
    utc,
)
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.assessment.values import Assessment, Cause, EndFinding, Finding, Level
from windwatch.desk import Closure, Desk
from windwatch.fleet import Airfield, Limit, Of, PilotLimits, Runway, RunwayEnd, RunwayNote
from windwatch.reports.decode import decode_report
from windwatch.wind import (
    DegreesMagnetic,
    DegreesTrue,
    HeadingFromDesignator,
    HeadingMagnetic,
    HeadingTrue,
    Knots,
)

NOON = utc("1253")
ONE_RUNWAY = an_airfield(runways=(EAST_WEST,))


def judge(
    wind: str,
    *limit: Limit,
    airfield: Airfield = ONE_RUNWAY,
    pilot: tuple[Limit, ...] = (),
    rest: str = "10SM CLR 20/10 A2992",
    desk: Desk | None = None,
) -> Assessment:
    craft = an_aircraft(own=limit, flown_by=("dual",))
    fleet = a_fleet(craft, airfield=airfield, pilots=[PilotLimits("dual", pilot)])
    report = decode_report(metar(NOON, wind, rest), NOON)
    plan = plan_airfield(fleet, airfield, NOON.date())
    return assess(plan, report) if desk is None else assess(plan, report, desk)


def limit(quantity: str, knots: float, of: Of = Of.GUST, whose: str = "X-LARK") -> Limit:
    return Limit(quantity, Knots(knots), whose, of)


def best(found: Assessment) -> EndFinding:
    return found.runways[0].runways[0].best


def only(found: Assessment) -> Finding:
    finding = best(found).deciding
    assert finding is not None
    return finding


def ground(found: Assessment) -> Finding:
    return found.ground[0].finding


# --- levels -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("knots", "level"),
    [(20, Level.WITHIN), (21, Level.NEAR), (25, Level.NEAR), (26, Level.OVER)],
)
def test_over_is_greater_than_the_limit_and_near_greater_than_its_share(
    knots: int, level: Level
) -> None:
    assert ground(judge(f"180{knots}KT", limit("tie_down", 25))).level is level


@pytest.mark.parametrize(
    ("knots", "low", "near_low"), [(23, True, False), (24, False, False), (18, True, True)]
)
def test_low_is_at_or_below_the_limit_less_its_deadband(
    knots: int, low: bool, near_low: bool
) -> None:
    found = ground(judge(f"180{knots}KT", limit("tie_down", 25)))
    assert (found.low, found.near_low) == (low, near_low)


def test_a_figure_that_rounds_to_the_limit_is_not_over_it() -> None:
    # 15 kt at 30° across is 7.499999999999999 in binary, and 7.5 to a person.
    assert only(judge("12015KT", limit("crosswind", 7.5))).level is Level.NEAR
    assert only(judge("12015KT", limit("crosswind", 7.4))).level is Level.OVER


def test_a_wind_of_another_unit_is_judged_to_the_tenth() -> None:
    # 13 m/s is 25.27 kt: 25.3 is over 25.
    found = ground(judge("18013MPS", limit("tie_down", 25)))
    assert (found.figure, found.level) == (25.3, Level.OVER)


# --- sectors, variable, missing ---------------------------------------------------


def test_a_sector_alone_makes_a_crossing() -> None:
    found = only(judge("27018KT 240V300", limit("crosswind", 8)))
    # 18 kt at 30° off the runway: 9.0 kt; straight along it: none.
    assert (found.figure, found.nominal, found.cause) == (9.0, 0.0, Cause.SECTOR)
    assert found.level is Level.OVER


def test_a_sector_counts_its_inside() -> None:
    found = only(judge("17018KT 140V220", limit("crosswind", 20)))
    assert found.figure == 18.0  # square across lies inside, at neither end


def test_variable_wind_counts_in_full_and_says_why() -> None:
    found = judge("VRB09KT", limit("crosswind", 8), limit("tailwind", 8))
    assert [(f.figure, f.nominal, f.cause) for f in best(found).findings] == [
        (9.0, None, Cause.VARIABLE)
    ] * 2


def test_a_speed_without_direction_counts_as_variable_and_is_marked() -> None:
    found = judge("///09KT", limit("crosswind", 8))
    assert only(found).figure == 9.0
    assert only(found).cause is Cause.NO_DIRECTION
    assert not found.direction_known


def test_calm_is_nought_and_known() -> None:
    found = judge("00000KT", limit("crosswind", 8), limit("tie_down", 25))
    assert (only(found).figure, ground(found).figure) == (0.0, 0.0)
    assert found.direction_known


@pytest.mark.parametrize("wind", ["/////KT", ""])
def test_wind_not_reported_is_not_nought_but_nothing(wind: str) -> None:
    found = judge(wind, limit("crosswind", 8), limit("tie_down", 25))
    assert (found.wind, found.runways, found.ground) == (None, (), ())


def test_a_report_without_a_time_is_refused() -> None:
    craft = a_fleet(an_aircraft(own=limits("X-LARK", tie_down=25)))
    plan = plan_airfield(craft, craft.airfields[0], NOON.date())
    report = decode_report(metar(NOON, "18010KT"), NOON)._replace(observed_at=None)
    with pytest.raises(ValueError, match="without a time"):
        assess(plan, report)


# --- gust and mean ----------------------------------------------------------------


def test_limits_apply_to_the_gust() -> None:
    assert only(judge("18010G20KT", limit("crosswind", 15))).figure == 20.0


def test_a_limit_of_the_mean_looks_at_the_mean() -> None:
    found = only(judge("18010G20KT", limit("crosswind", 15, Of.MEAN)))
    assert (found.figure, found.level) == (10.0, Level.WITHIN)


def test_the_worst_of_mean_and_gust_limits_decides() -> None:
    found = judge("18010G20KT", limit("crosswind", 19), pilot=(limit("crosswind", 9, Of.MEAN),))
    assert best(found).level is Level.OVER
    assert only(found).limit.of is Of.MEAN  # 10 of 9 is worse than 20 of 19


def test_no_gust_group_makes_a_spread_of_nought() -> None:
    assert only(judge("18010KT", limit("gust_spread", 8))).figure == 0.0
    assert only(judge("18010G21KT", limit("gust_spread", 8))).figure == 11.0


def test_a_speed_at_least_is_shown_so_and_is_never_low() -> None:
    found = ground(judge("180P99KT", limit("tie_down", 150)))
    assert found.at_least
    assert not found.low
    assert not found.near_low


def test_an_at_least_wind_along_the_runway_cannot_clear_the_crosswind() -> None:
    found = only(judge("270P99KT", limit("crosswind", 15)))
    assert (found.figure, found.low) == (0.0, False)


# --- runways and ends -------------------------------------------------------------------


def test_a_runway_is_as_good_as_its_better_end() -> None:
    found = judge("27012KT", limit("tailwind", 8))
    assert best(found).end == "27"
    assert found.runways[0].level is Level.WITHIN
    assert {e.end: e.level for e in found.runways[0].runways[0].ends} == {
        "9": Level.OVER,
        "27": Level.WITHIN,
    }


def test_a_one_way_runway_has_no_better_end() -> None:
    uphill = Runway("9", (EAST_WEST.ends[0],))
    found = judge("27012KT", limit("tailwind", 8), airfield=an_airfield(runways=(uphill,)))
    assert found.runways[0].level is Level.OVER


def test_an_end_with_the_better_level_goes_before_more_headwind() -> None:
    # Nominally 27 has the headwind (3.1 kt), but the sector reaches far behind it (15.6 kt);
    # behind 9 it brings 6.2 kt at most.
    found = judge("35018KT 340V060", limit("tailwind", 8))
    ends = {e.end: e for e in found.runways[0].runways[0].ends}
    assert ends["27"].headwind == pytest.approx(3.1, abs=0.05)
    assert {name: end.level for name, end in ends.items()} == {"9": Level.WITHIN, "27": Level.OVER}
    assert best(found).end == "9"


def test_ends_of_one_level_rank_by_headwind() -> None:
    assert best(judge("24010KT", limit("crosswind", 40))).end == "27"
    assert best(judge("12010KT", limit("crosswind", 40))).end == "9"


def test_the_best_runway_comes_first_and_sets_the_level() -> None:
    found = judge("18018KT", limit("crosswind", 15), airfield=an_airfield())
    assert [r.runway for r in found.runways[0].runways] == ["18/36", "9/27"]
    assert found.runways[0].level is Level.WITHIN


def test_a_runway_carries_its_own_limit_and_the_finding_says_whose() -> None:
    narrow = replace(EAST_WEST, limits=limits("runway 9/27", crosswind=8))
    found = judge("18009KT", limit("crosswind", 15), airfield=an_airfield(runways=(narrow,)))
    assert only(found).limit.whose == "runway 9/27"
    assert only(found).level is Level.OVER


@pytest.mark.parametrize(
    ("uses", "runways"),
    [
        ((), ["9/27", "18/36"]),
        (("X-LARK",), ["9/27", "18/36"]),
        (("dual",), ["9/27", "18/36"]),
        (("X-WREN",), ["18/36"]),
        (("student solo",), ["18/36"]),
        (("X-LARK", "student solo"), ["18/36"]),
    ],
)
def test_only_runways_allowed_to_aircraft_and_standard_count(
    uses: tuple[str, ...], runways: list[str]
) -> None:
    airfield = an_airfield(runways=(replace(EAST_WEST, uses=uses), NORTH_SOUTH))
    fleet = a_fleet(
        an_aircraft(flown_by=("dual",)),
        an_aircraft("X-WREN"),
        airfield=airfield,
        pilots=[PilotLimits("dual", ()), PilotLimits("student solo", ())],
    )
    plan = plan_airfield(fleet, airfield, NOON.date())
    assert [r.name for r in plan.subjects[0].runways] == runways


def test_a_closed_runway_does_not_count() -> None:
    def closed(until: datetime) -> Desk:
        return Desk((Closure("XLKS", "18/36", utc("1200"), until, "desk"),))

    over = judge(
        "18018KT", limit("crosswind", 15), airfield=an_airfield(), desk=closed(utc("1400"))
    )
    assert over.runways[0].level is Level.OVER
    again = judge("18018KT", limit("crosswind", 15), airfield=an_airfield(), desk=closed(NOON))
    assert again.runways[0].level is Level.WITHIN  # `until` itself is open again


def test_no_open_runway_at_all_is_over_and_not_within() -> None:
    desk = Desk((Closure("XLKS", "9/27", utc("1200"), utc("1400"), "desk"),))
    assert judge("00000KT", limit("crosswind", 15), desk=desk).runways[0].level is Level.OVER


# --- headings -----------------------------------------------------------------------------


def field_with(heading: HeadingTrue | HeadingMagnetic | HeadingFromDesignator) -> Airfield:
    runway = Runway("18", (RunwayEnd("18", heading),))
    return an_airfield(runways=(runway,), variation_deg=-12.0)


def test_a_magnetic_heading_becomes_true_with_the_variation() -> None:
    end = best(judge("16818KT", airfield=field_with(HeadingMagnetic(DegreesMagnetic(180)))))
    assert (end.heading_true, end.approximate) == (168.0, False)  # 12° west: 180 - 12
    assert end.crosswind == pytest.approx(0.0, abs=1e-9)


def test_a_heading_from_the_painted_number_is_approximate() -> None:
    end = best(judge("16818KT", airfield=field_with(HeadingFromDesignator(DegreesMagnetic(180)))))
    assert (end.heading_true, end.approximate) == (168.0, True)


def test_a_true_heading_knows_no_variation() -> None:
    end = best(judge("18018KT", airfield=field_with(HeadingTrue(DegreesTrue(180)))))
    assert (end.heading_true, end.approximate) == (180, False)


def test_without_a_configured_variation_the_model_gives_it() -> None:
    airfield = replace(field_with(HeadingMagnetic(DegreesMagnetic(180))), variation_deg=None)
    plan = plan_airfield(a_fleet(an_aircraft(), airfield=airfield), airfield, date(2026, 9, 22))
    # About 11.9° west there and then (World Magnetic Model 2025, as of reference/demo_day.md).
    assert plan.variation_deg == pytest.approx(-11.9, abs=0.2)


# --- peak wind ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("peak", "counts"),
    [("1153", True), ("1152", False), ("1253", True), ("1230", True)],
)
def test_a_peak_counts_if_it_fell_within_the_hour_before(peak: str, counts: bool) -> None:
    found = judge("18010KT", limit("tie_down", 25), rest=f"10SM CLR RMK AO2 PK WND 18031/{peak}")
    if not counts:
        assert (found.peak_at, found.peak_ground) == (None, ())
        return
    assert found.peak_at == utc(peak)
    assert found.peak_ground[0].finding.figure == 31.0
    assert found.peak_ground[0].finding.cause is Cause.PEAK


def test_a_peak_counts_without_a_wind_group() -> None:
    found = judge("", limit("tie_down", 25), rest="10SM CLR RMK AO2 PK WND 18031/1230")
    assert found.ground == ()
    assert found.peak_ground[0].finding.level is Level.OVER


def test_a_peak_says_nothing_of_a_mean() -> None:
    found = judge(
        "18010KT", limit("tie_down", 25, Of.MEAN), rest="10SM CLR RMK AO2 PK WND 18031/1230"
    )
    assert found.peak_ground == ()


def test_a_peak_is_not_counted_for_runways() -> None:
    found = judge("18010KT", limit("wind", 25), rest="10SM CLR RMK AO2 PK WND 18031/1230")
    assert only(found).figure == 10.0


# --- thunder --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("weather", "level"),
    [
        ("10SM CLR", Level.WITHIN),
        ("10SM VCTS SCT050", Level.NEAR),
        ("10SM SCT045CB", Level.NEAR),
        ("3SM TSRA OVC030", Level.OVER),
        ("3SM SQ OVC030", Level.OVER),
        ("1SM +FC OVC030", Level.OVER),
        ("10SM SHRA SCT040TCU", Level.WITHIN),
    ],
)
def test_thunder_levels(weather: str, level: Level) -> None:
    found = judge("18010KT", rest=f"{weather} 20/10 A2992").thunder
    assert found is not None
    assert found.level is level


def test_no_report_of_weather_is_no_finding_of_thunder() -> None:
    nil = decode_report("METAR XLKS 221253Z NIL", NOON)
    plan = plan_airfield(a_fleet(an_aircraft()), an_airfield(), NOON.date())
    assert assess(plan, nil).thunder is None


def test_rain_snow_and_ice_add_their_cautions() -> None:
    assert len(judge("18010KT", rest="3SM RA OVC010 05/04 A2992").weather_notes) == 1
    assert len(judge("18010KT", rest="3SM FZRA OVC010 M01/M02 A2992").weather_notes) == 2
    assert judge("18010KT").weather_notes == ()


# --- local knowledge --------------------------------------------------------------------------

ROTOR = RunwayNote("rotor", (DegreesTrue(200), DegreesTrue(250)), Knots(15))


@pytest.mark.parametrize(
    ("wind", "applies"),
    [
        ("22016KT", True),
        ("22015KT", False),  # over 15 is greater than 15
        ("22010G16KT", True),
        ("20016KT", True),
        ("25016KT", True),
        ("26016KT", False),
        ("19016KT", False),
        ("26016KT 240V290", True),  # the sector reaches in
        ("26016KT 180V290", True),  # the sector holds it
        ("26016KT 255V290", False),
        ("VRB16KT", True),
        ("///16KT", True),
        ("00000KT", False),
    ],
)
def test_a_note_applies_to_its_sector_and_speed(wind: str, applies: bool) -> None:
    airfield = an_airfield(runways=(replace(EAST_WEST, notes=(ROTOR,)),))
    notes = judge(wind, airfield=airfield).runways[0].runways[0].notes
    assert notes == (("rotor",) if applies else ())


def test_a_note_over_north_goes_the_short_way_round() -> None:
    note = RunwayNote("trees", (DegreesTrue(340), DegreesTrue(20)))
    airfield = an_airfield(runways=(replace(EAST_WEST, notes=(note,)),))
    assert judge("36010KT", airfield=airfield).runways[0].runways[0].notes == ("trees",)
    assert judge("18010KT", airfield=airfield).runways[0].runways[0].notes == ()
