import pytest

KEYED = [  # relative wind on the nose 360, gear, left aileron, elevator, roll, pitch
    pytest.param("315", "tricycle", "up", "neutral", "left", "neutral", id="FAA bank Fig. 9 A"),
    pytest.param("045", "tailwheel", "down", "up", "right", "back", id="FAA bank Fig. 9 B"),
    pytest.param("225", "nosewheel", "down", "down", "right", "forward", id="FAA bank Fig. 9 C"),
    pytest.param("225", "tailwheel", "down", "down", "right", "forward", id="FAA bank, Fig. 9 C"),
]


@pytest.mark.parametrize(("wind_from", "gear", "left", "elevator", "roll", "pitch"), KEYED)
def test_keyed_answers_come_out(answer, wind_from, gear, left, elevator, roll, pitch):
    found = answer(
        "taxi", "--wind", f"{wind_from}18KT", "--heading-true", "360", "--gear", gear,
        "--wing", "high",
    )  # fmt: skip
    assert found["ailerons"]["left"] == left
    assert found["elevator"] == elevator
    assert found["yoke"] == {"roll": roll, "pitch": pitch}


def test_json_has_the_shape_of_the_contract(answer):
    found = answer("taxi", "--wind", "24018G30KT", "--heading-true", "40", "--gear", "tailwheel")
    assert {
        "relative_wind", "ailerons", "elevator", "yoke", "most_critical", "alternatives", "notes",
    } <= set(found)  # fmt: skip
    assert {"angle_deg", "speed_kt", "quarter"} <= set(found["relative_wind"])
    assert found["relative_wind"]["angle_deg"] == 200
    assert found["relative_wind"]["quarter"] == "quartering tailwind"
    assert found["most_critical"] is True
    # 20° off the tail: 10° of direction would make it a straight tailwind.
    assert [set(other) == set(found) for other in found["alternatives"]] == [True]


def test_words_lead_with_what_to_do_and_end_with_the_caution(run, flat, caution):
    result = run("taxi", "--wind", "24018KT", "--heading-true", "20", "--gear", "tailwheel")
    said = flat(result.stdout)
    assert said.startswith("Turn right, forward: left aileron down, right aileron up")
    assert "No sudden power, no sharp braking." in said
    assert "Propeller wash and jet blast" in said
    assert said.endswith(caution)


def test_own_motion_is_shown_beside_the_answer(run, flat):
    said = flat(
        run(
            "taxi", "--wind", "18005KT", "--heading-true", "360", "--gear", "tailwheel",
            "--taxi-speed", "10",
        ).stdout
    )  # fmt: skip
    assert said.startswith("Centred, forward")
    assert "At 10 kt of taxi speed" in said
    assert "or centred, back" in said


def test_without_a_heading_there_is_a_row_for_each_of_eight(run, answer, flat, caution):
    args = ("taxi", "--wind", "24018KT", "--gear", "nosewheel", "--wing", "low")
    card = answer(*args)["card"]
    assert [row["heading_true_deg"] for row in card] == [360, 45, 90, 135, 180, 225, 270, 315]
    assert card[4]["relative_wind"]["angle_deg"] == 60
    said = flat(run(*args).stdout)
    for point in ("north 360", "north-east 045", "south-west 225", "north-west 315"):
        assert point in said
    assert "most critical" in said
    assert said.endswith(caution)


def test_a_card_for_a_spoken_wind_is_in_magnetic_headings(run, answer):
    args = ("taxi", "--wind-magnetic", "240 at 18", "--gear", "nosewheel")
    assert "(magnetic)" in run(*args).stdout
    assert answer(*args)["card"][0]["heading_magnetic_deg"] == 360


def test_a_variable_wind_makes_a_card_for_the_windsock(run, answer, flat):
    args = ("taxi", "--wind", "VRB08KT", "--gear", "tailwheel")
    assert all(row["heading_true_deg"] is None for row in answer(*args)["card"])
    said = flat(run(*args).stdout)
    assert "follow the windsock, expect a quartering tailwind" in said
    assert "right, behind quartering tailwind" in said


@pytest.mark.parametrize("wind", ["24018G30KT 200V280", "VRB03KT", "00000KT", "180P99KT"])
@pytest.mark.parametrize("gear", ["nosewheel", "tailwheel"])
@pytest.mark.parametrize("heading", [None, "0", "225"])
def test_every_answer_fits_80_columns(run, wind, gear, heading):
    where = () if heading is None else ("--heading-true", heading)
    assert run("taxi", "--wind", wind, "--gear", gear, *where).exit_code == 0


def test_the_gear_must_be_said(run):
    assert run("taxi", "--wind", "24018KT", "--heading-true", "180").exit_code == 2
