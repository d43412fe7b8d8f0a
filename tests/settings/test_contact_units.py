"""In which unit a contact is told: what is read, what is refused, and where it is shown."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from windwatch.cli.config_words import settings_as_json, settings_in_words
from windwatch.errors import SettingsError
from windwatch.settings.read import read_settings
from windwatch.settings.schema import schema
from windwatch.wind import PER_KNOT

RIGHT: str = tomllib.loads((Path(__file__).parent / "broken.toml").read_text(encoding="utf-8"))[
    "right"
]
ON = date(2026, 9, 22)


def read(tmp_path, line=""):
    file = tmp_path / "field.toml"
    file.write_text(f"{RIGHT.rstrip()}\n{line}\n", encoding="utf-8")
    return read_settings([file], {})


@pytest.mark.parametrize("unit", PER_KNOT)
def test_every_unit_of_speed_is_one_for_a_contact(tmp_path, unit):
    settings = read(tmp_path, f'units = "{unit}"')
    assert [contact.units for contact in settings.fleet.contacts] == [unit]
    assert settings.fleet.unit_of("operations desk") == unit
    assert settings_as_json(settings, ON)["contacts"][0]["units"] == unit


def test_knots_unless_said_otherwise_and_for_somebody_unknown(tmp_path):
    fleet = read(tmp_path).fleet
    assert fleet.unit_of("operations desk") == fleet.unit_of("nobody") == "kt"


def test_show_names_a_unit_that_is_not_knots(tmp_path):
    metric = " ".join(settings_in_words(read(tmp_path, 'units = "m/s"'), ON).split())
    assert "speeds in m/s" in metric
    assert "speeds in" not in settings_in_words(read(tmp_path), ON)


def test_an_unknown_unit_is_refused_with_the_ones_there_are(tmp_path):
    with pytest.raises(SettingsError) as raised:
        read(tmp_path, 'units = "kmh"')
    [fault] = raised.value.faults
    said = " ".join(str(fault).split())
    assert "contact operations desk, units" in said
    assert 'did you mean "km/h"? It may be "kt", "m/s", "km/h" or "mph"' in said


def test_editors_are_told_the_units():
    units = schema()["$defs"]["ContactTable"]["properties"]["units"]
    assert set(units["enum"]) == set(PER_KNOT)
    assert units["default"] == "kt"
    assert units["examples"] == ["km/h"]
