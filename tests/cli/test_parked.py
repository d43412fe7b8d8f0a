import pytest


def test_words_give_reminders_with_their_sources_and_the_caution(run, flat, caution):
    result = run("tie-down", "--wind", "29026G38KT", "--gear", "tailwheel", "--stall-speed", "38")
    said = flat(result.stdout)
    assert result.exit_code == 0
    assert "Point the nose west (290° true), into the wind" in said
    assert "[1] FAA AC 20-35C, Tiedown Sense, 12 July 1983" in said
    assert "A quartering wind overturns an aeroplane far below 100 %." in said
    assert said.endswith(caution)


def test_without_a_stall_speed_there_is_no_band(run, answer, flat):
    assert answer("tie-down", "--wind", "29026KT")["wing_lift"] is None
    assert "of the weight" not in flat(run("tie-down", "--wind", "29026KT").stdout)


def test_half_the_stall_speed_carries_a_quarter_at_most_before_lightness(answer):
    # Reference airmanship 3.3 (derived): at half the stall speed 25 % at the largest lift
    # coefficient; the tailwheel band ends there, divided by the lightest weight, 70 %.
    lift = answer("tie-down", "--wind", "29022KT", "--gear", "tailwheel", "--stall-speed", "44")[
        "wing_lift"
    ]
    assert lift["share_of_weight_high"] == pytest.approx(0.25 / 0.7, abs=0.0001)
    assert lift["share_of_weight_low"] == pytest.approx(0.25 * 0.7, abs=0.0001)


def test_warm_thin_air_lifts_less(answer):
    args = ("tie-down", "--wind", "29030KT", "--stall-speed", "44")
    standard = answer(*args)["wing_lift"]["share_of_weight_high"]
    thin = answer(*args, "--temperature-c", "35", "--pressure-hpa", "850")["wing_lift"]
    # 850/1013.25 × 288.15/308.15
    assert thin["share_of_weight_high"] == pytest.approx(standard * 0.7844, rel=0.001)


def test_a_front_and_a_wind_to_come_turn_the_aeroplane_first(answer):
    told = answer("tie-down", "--wind", "18012KT", "--wind-to-come", "30025G45KT", "--front")[
        "reminders"
    ]
    texts = [each["text"] for each in told]
    assert texts[0].startswith("A front is coming")
    assert any("north-west (300° true), into the strongest wind to come" in text for text in texts)
    assert any(text.startswith("The wind will turn") for text in texts)


@pytest.mark.parametrize(
    ("args", "what_to_add"),
    [
        (("--wind-magnetic", "290 at 30"), "--variation DEG"),
        (("--wind", "29030KT", "--stall-speed", "44", "--temperature-c", "30"), "needs both"),
        (
            ("--wind", "29030KT", "--temperature-c", "30", "--pressure-hpa", "950"),
            "add --stall-speed KT",
        ),
        ((), "which wind?"),
    ],
)
def test_what_is_missing_is_asked_for(run, flat, args, what_to_add):
    result = run("tie-down", *args)
    assert result.exit_code == 2
    assert what_to_add in flat(result.stderr)


def test_a_spoken_wind_is_made_true_before_the_nose_is_turned(run, flat):
    said = flat(run("tie-down", "--wind-magnetic", "290 at 30", "--variation", "12W").stdout)
    assert "(278° true)" in said
