import json

import pytest

from windwatch.cli.config_words import quantity_words
from windwatch.fleet import CROSSWIND, Limit, Of
from windwatch.wind import Knots

EXAMPLES = ("demo.toml", "larkspur.toml", "minimal.toml")


@pytest.fixture(autouse=True)
def without_secrets(monkeypatch, root):
    for name in ("WINDWATCH_MAIL_PASSWORD", "WINDWATCH_DESK_SECRET", "WINDWATCH_DEMO_SECRET"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(root)


@pytest.fixture
def faulty(root, tmp_path):
    file = tmp_path / "faulty.toml"
    text = (root / "config" / "minimal.toml").read_text()
    file.write_text(
        text.replace("crosswind_kt = 15", "crosswind_kt = -5").replace("gear =", "gaer =")
    )
    return file


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_passes_without_its_secrets(run, name):
    result = run("config", "check", f"config/{name}")
    assert result.exit_code == 0, result.stderr
    assert "No fault" in result.stdout


def test_missing_secrets_are_named(run, flat):
    said = flat(run("config", "check", "config/larkspur.toml").stdout)
    assert "WINDWATCH_MAIL_PASSWORD is not set" in said
    assert "config/larkspur.toml:" in said


def test_all_faults_come_at_once_with_their_lines(run, faulty):
    result = run("config", "check", str(faulty))
    assert result.exit_code == 2
    lines = faulty.read_text().splitlines()
    for key in ("crosswind_kt = -5", "gaer ="):
        number = next(n for n, line in enumerate(lines, start=1) if key in line)
        assert f"{faulty}:{number}:" in result.stderr
    assert "crosswind_kt = 15" in result.stderr
    assert "faults found" in result.stderr


def test_faults_come_as_json_too(run, faulty):
    result = run("config", "check", str(faulty), "--json")
    assert result.exit_code == 2
    faults = json.loads(result.stdout)["faults"]
    assert {"file", "line", "key", "problem", "mend"} == set(faults[0])


def test_a_file_that_is_not_there_ends_with_2(run):
    result = run("config", "check", "none.toml")
    assert result.exit_code == 2
    assert "none.toml" in result.stderr


def test_show_names_the_smallest_limit_and_whose_it_is(answer):
    found = answer("config", "show", "config/demo.toml")
    (field,) = found["airfields"]
    solo = next(
        each
        for each in field["runway_limits"]
        if (each["aircraft"], each["pilot_limits"], each["runway"])
        == ("X-LARK", "student solo", "10/28")
    )
    crosswind = next(each for each in solo["limits"] if each["quantity"] == "crosswind")
    assert crosswind == {
        "quantity": "crosswind",
        "limit_kt": 7,
        "near_kt": 5.6,
        "of": "gust",
        "whose": "student solo",
        "confirm_reports": 1,
    }
    tailwind = next(each for each in solo["limits"] if each["quantity"] == "tailwind")
    assert (tailwind["limit_kt"], tailwind["whose"]) == (8, "X-LARK")
    assert field["demonstrated_crosswind_kt"] == {"X-LARK": 15, "X-TERN": 17}


def test_show_keeps_a_demonstrated_crosswind_apart_from_the_limits(run, flat, caution):
    said = flat(run("config", "show", "config/demo.toml").stdout)
    assert "Crosswind demonstrated, not a limit: X-LARK 15 kt, X-TERN 17 kt." in said
    assert "10 (091 true) / 28 (271 true)" in said
    assert said.endswith(caution)


def test_a_runway_with_its_own_limit_is_shown_by_itself(run, flat):
    said = flat(run("config", "show", "config/larkspur.toml").stdout)
    assert "crosswind 12 9.6 runway 1/19" in said
    assert "24 (229 true)" in said


@pytest.mark.promise(22)
@pytest.mark.guard("secrets")
def test_show_tells_who_hears_what_and_no_secret(run, flat, monkeypatch):
    monkeypatch.setenv("WINDWATCH_MAIL_PASSWORD", "open sesame")
    result = run("config", "show", "config/larkspur.toml")
    said = flat(result.stdout)
    assert "operations desk (by webhook and email; also about windwatch itself)" in said
    assert "open sesame" not in result.output
    assert "@larkspur.example" not in result.output
    as_json = run("config", "show", "config/larkspur.toml", "--json").output
    assert "open sesame" not in as_json
    assert "https://" not in as_json


def test_an_approximate_heading_is_marked(run, root, tmp_path, flat):
    text = (root / "config" / "minimal.toml").read_text()
    file = tmp_path / "painted.toml"
    file.write_text(
        text.replace(", heading_true_deg = 91.4", "").replace(", heading_true_deg = 271.4", "")
    )
    assert "true, approximate heading)" in flat(run("config", "show", str(file)).stdout)


def test_an_aircraft_whose_runway_limits_nobody_is_judged_by_is_never_silent(
    run, root, tmp_path, flat, answer
):
    """Either a standard is assumed, or it is said that none flies it."""
    text = (root / "config" / "minimal.toml").read_text()
    file = tmp_path / "alone.toml"
    file.write_text("\n".join(t for t in text.splitlines() if "flown_by" not in t))
    (field,) = answer("config", "show", str(file))["airfields"]
    judged = any(each["aircraft"] == "X-LARK" for each in field["runway_limits"])
    assert judged or field["not_judged"] == ["X-LARK"]
    for command in ("check", "show"):
        said = flat(run("config", command, str(file)).stdout)
        assert judged or "its runway limits are not judged" in said


def test_the_schema_is_json_schema_with_descriptions(run):
    result = run("config", "schema")
    rules = json.loads(result.stdout)
    assert rules["$schema"].startswith("https://json-schema.org/")
    assert "airfield" in rules["properties"]


def test_a_limit_on_the_mean_and_its_confirmation_are_said():
    limit = Limit(CROSSWIND, Knots(10), "X-WREN", of=Of.MEAN, confirm_reports=2)
    assert quantity_words(limit) == "mean crosswind (2 reports)"


def test_a_configuration_without_fault_has_an_empty_list_of_them(answer):
    found = answer("config", "check", "config/larkspur.toml")
    assert found["faults"] == []
    assert any("WINDWATCH_DESK_SECRET" in warning for warning in found["warnings"])


def test_show_tells_the_figures_of_judgement_that_are_not_the_usual_ones(
    run, root, tmp_path, flat, answer
):
    text = (root / "config" / "minimal.toml").read_text()
    file = tmp_path / "judged.toml"
    file.write_text(f'{text}\n[rules]\nrunway_hold = "45min"\ndeadband_kt = 3\n')
    said = flat(run("config", "show", str(file)).stdout)
    assert "figure of judgement here usually range" in said
    assert "deadband_kt 3 2 0.5 to 5" in said
    assert "runway_hold 45min 30min 10min to 3h" in said
    assert answer("config", "show", str(file))["rules"] == {
        "deadband_kt": {"here": 3, "usually": 2},
        "runway_hold": {"here": "45min", "usually": "30min"},
    }


def test_show_says_nothing_of_figures_that_are_usual(run, answer):
    assert "figure of judgement" not in run("config", "show", "config/demo.toml").stdout
    assert answer("config", "show", "config/demo.toml")["rules"] == {}
