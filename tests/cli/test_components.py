import pytest

from windwatch.airmanship.components import wind_on_runway
from windwatch.cli.components import components_as_json
from windwatch.wind import CALM, Knots, Wind

PUBLISHED = [  # wind, heading, headwind, crosswind from the right, tolerance
    pytest.param("22030KT", 180, 23, 19, 0.5, id="FAA private pilot bank, FAA-CT-8080-2 Fig. 36"),
    pytest.param("28015KT", 220, 7.5, 13, 0.5, id="EASA ATPL bank, runway 220 wind 280/15"),
    pytest.param("03010KT", 330, 5, 8, 0.7, id="EASA ATPL bank, runway 330 wind 030/10"),
    pytest.param("14020KT", 220, 3.5, -20, 0.5, id="FAA bank, runway 22 wind 140/20"),
    pytest.param("29015KT", 330, 12, -10, 0.6, id="FAA bank, runway 33 wind 290/15"),
    pytest.param("04020KT", 60, 19, -7, 0.7, id="EASA bank, runway 06 wind 040/20"),
]


@pytest.mark.parametrize(("wind", "heading", "headwind", "crosswind", "within"), PUBLISHED)
def test_published_components_come_out(answer, wind, heading, headwind, crosswind, within):
    found = answer("components", "--wind", wind, "--heading-true", str(heading))
    assert found["headwind_kt"] == pytest.approx(headwind, abs=within)
    assert found["crosswind_kt"] == pytest.approx(crosswind, abs=within)


def test_json_has_exactly_the_keys_of_the_contract(answer):
    found = answer("components", "--wind", "22030G40KT 190V250", "--heading-true", "180")
    parts = {"headwind_kt", "crosswind_kt", "tailwind_kt"}
    assert set(found) == parts | {"gust", "worst"}
    assert set(found["gust"]) == parts
    assert set(found["worst"]) == {"crosswind_kt", "tailwind_kt"}


def test_worst_counts_the_gust_over_the_whole_sector(answer):
    found = answer("components", "--wind", "22030G40KT 190V250", "--heading-true", "180")
    # 40 kt from 70° off the nose: 40 sin 70° = 37.59.
    assert found["worst"] == {"crosswind_kt": pytest.approx(37.59, abs=0.005), "tailwind_kt": 0}
    assert found["gust"]["crosswind_kt"] == pytest.approx(25.71, abs=0.005)


def test_worst_of_a_sector_without_gust_matches_the_worked_example(answer):
    # Worked example: 12 kt, 280V350 on 320, worst crosswind 12 sin 40° = 7.71.
    found = answer("components", "--wind", "32012KT 280V350", "--heading-true", "320")
    assert found["worst"]["crosswind_kt"] == pytest.approx(7.71, abs=0.005)
    assert found["gust"] is None


def test_variable_wind_has_no_nominal_figure_and_counts_in_full(answer):
    found = answer("components", "--wind", "VRB05KT", "--heading-true", "180")
    assert found["headwind_kt"] is found["crosswind_kt"] is found["tailwind_kt"] is None
    assert found["worst"] == {"crosswind_kt": 5, "tailwind_kt": 5}


def test_calm_is_zero_and_never_minus_zero(answer):
    found = answer("components", "--wind", "00000KT", "--heading-true", "270")
    assert found == {
        "headwind_kt": 0,
        "crosswind_kt": 0,
        "tailwind_kt": 0,
        "gust": None,
        "worst": {"crosswind_kt": 0, "tailwind_kt": 0},
    }
    assert "-0" not in str(components_as_json(wind_on_runway(Wind(CALM, Knots(0)), 1.0)))


def test_other_units_come_out_in_knots(answer):
    found = answer("components", "--wind", "18010MPS", "--heading-true", "180")
    assert found["headwind_kt"] == pytest.approx(19.4384, abs=0.0001)  # 1 m/s = 3600/1852 kt


def test_words_show_figures_side_worst_and_caution(run, flat, caution):
    result = run("components", "--wind", "22030G40KT 190V250", "--heading-true", "180")
    said = flat(result.stdout)
    assert result.exit_code == 0
    assert "Wind from 220 true, 30 kt, gusts 40 kt" in said
    assert "mean, 30 kt 23.0 0.0 19.3 right" in said
    assert "worst of the sector, gust 0.0 37.6" in said
    assert said.endswith(caution)


def test_words_say_why_a_variable_wind_counts_in_full(run, flat):
    said = flat(run("components", "--wind", "VRB05KT", "--heading-true", "180").stdout)
    assert "the full speed counts as crosswind and as tailwind" in said


def test_no_gust_group_is_not_called_no_gusts(run, flat):
    said = flat(run("components", "--wind", "22010KT", "--heading-true", "180").stdout)
    assert "gusts below about 10 kt over the mean or the lulls are not reported" in said


def test_a_lower_bound_is_said(run, flat):
    said = flat(run("components", "--wind", "180P99KT", "--heading-true", "90").stdout)
    assert "at least 99 kt" in said
    assert "every figure is a lower bound" in said


@pytest.mark.parametrize(
    ("args", "what_to_add"),
    [
        (("--wind", "22030KT", "--heading-magnetic", "180"), "--variation DEG"),
        (("--wind-magnetic", "220 at 30", "--heading-true", "180"), "--at LAT,LON"),
        (("--wind", "22030KT"), "--heading-true DEG"),
        (("--heading-true", "180"), "--wind 22030G40KT"),
        (("--wind", "22030", "--heading-true", "180"), "22030G40KT 190V250"),
        (("--wind", "220/30", "--heading-true", "180"), "--wind-magnetic"),
        (("--wind", "22030KT", "--heading-true", "1", "--heading-magnetic", "1"), "not both"),
        (("--wind", "1", "--wind-magnetic", "2", "--heading-true", "1"), "give the wind once"),
        (("--wind-magnetic", "--heading-true", "180"), "--wind-magnetic needs a wind"),
        (("--wind", "22030KT", "--heading-magnetic", "1", "--at", "91,0"), "--at '91,0'"),
        (("--wind", "22030KT", "--heading-magnetic", "1", "--at", "here"), "is no place"),
        (("--wind", "22030KT", "--heading-magnetic", "1", "--on", "2026"), "add the place"),
    ],
)
def test_a_usage_error_ends_with_2_and_says_what_to_write(run, flat, args, what_to_add):
    result = run("components", *args)
    assert result.exit_code == 2
    assert what_to_add in flat(result.stderr)
    assert "windwatch components --help" in result.stderr
    assert result.stdout == ""


def test_magnetic_heading_becomes_true_with_the_variation(answer):
    # 193 magnetic at 12 west is 181 true.
    mixed = answer(
        "components", "--wind", "18120KT", "--heading-magnetic", "193", "--variation", "-12"
    )
    assert mixed["headwind_kt"] == pytest.approx(20)
    assert mixed["crosswind_kt"] == pytest.approx(0)


def test_variation_turns_a_right_crosswind_into_a_left_one(answer):
    # Reference airmanship section 6 (seen): 290 true at 15E is 275 magnetic, so a right
    # crosswind on runway 28 becomes a left one.
    mixed = answer(
        "components", "--wind", "29020KT", "--heading-magnetic", "280", "--variation", "15E"
    )
    assert mixed["crosswind_kt"] < 0


def test_spoken_wind_and_magnetic_heading_need_no_variation(answer):
    both = answer(
        "components", "--wind-magnetic", "220 at 30 gusting 40", "--heading-magnetic", "180"
    )
    assert both == answer("components", "--wind", "22030G40KT", "--heading-true", "180")


def test_wind_magnetic_without_value_speaks_of_the_wind_beside_it(answer):
    beside = answer(
        "components", "--wind", "22030KT", "--wind-magnetic", "--heading-magnetic", "180"
    )
    assert beside["crosswind_kt"] == pytest.approx(19.2836, abs=0.0001)


def test_the_place_gives_the_variation_and_the_words_name_the_model(run, flat):
    said = flat(
        run(
            "components",
            *("--wind", "22030KT", "--heading-magnetic", "193", "--at", "42.93,-76.02"),
            *("--on", "2026-09-22"),
        ).stdout
    )
    assert "Variation 11.9° west, WMM2025." in said
    assert "Heading 193 magnetic is 181.1 true." in said
