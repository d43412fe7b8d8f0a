"""Reporting hours of a station, and runway ends that are nearly but not quite opposite."""

from datetime import time
from pathlib import Path

import pytest

from tests.settings.test_broken import RIGHT
from windwatch.errors import SettingsError
from windwatch.fleet import OperatingHours
from windwatch.settings.read import read_settings
from windwatch.settings.schema import schema

BY_DAY = 'reports_between = { from = "06:00", to = "22:00" }'
FILE = Path("field.toml")
ENVIRON = {"DESK": "whsec_" + "A" * 44, "MAIL": "hunter2"}


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(old: str = "", new: str = ""):
    assert not old or RIGHT.count(old) == 1
    FILE.write_text(RIGHT.replace(old, new) if old else RIGHT, encoding="utf-8")
    return read_settings([FILE], ENVIRON, require_secrets=False)


def test_a_station_reports_around_the_clock_unless_it_is_said():
    assert read().fleet.airfields[0].reports_between is None


def test_reporting_hours_are_read():
    settings = read(
        "elevation_ft = 960", f'elevation_ft = 960\n{BY_DAY}\nfall_back_stations = ["XBRN"]'
    )
    assert settings.fleet.airfields[0].reports_between == OperatingHours(time(6), time(22))
    assert settings.warnings == ()


def test_a_field_where_nobody_reports_the_wind_at_night_is_pointed_out():
    settings = read("elevation_ft = 960", f"elevation_ft = 960\n{BY_DAY}")
    assert settings.warnings == (
        (
            "field.toml:14: airfield XLKS, reports_between: outside these hours nobody reports the "
            "wind here, and no other station is named; name one that reports at night, for example "
            'fall_back_stations = ["XBRN"]'
        ),
    )


def test_the_schema_tells_what_reporting_hours_are_for():
    described = schema()["$defs"]["AirfieldTable"]["properties"]["reports_between"]
    assert "where it closes at night" in described["description"]
    assert described["examples"] == [{"from": "06:00", "to": "22:00"}]


@pytest.mark.parametrize("heading", ["273.5", "281.4", "269.3", "261.4"])
def test_ends_between_two_and_ten_degrees_from_opposite_are_to_be_checked(heading: str):
    off = abs(float(heading) - 271.4)
    assert read("271.4", heading).warnings == (
        (
            "field.toml:16: airfield XLKS, runway 10/28, ends: the headings of 10 and 28 (91.4 "
            f"true and {heading} true) are {off:.0f}° from opposite; check both against the chart: "
            "the two ends of a straight runway are opposite"
        ),
    )


@pytest.mark.parametrize("heading", ["271.4", "273.4", "269.4", "271"])
def test_up_to_two_degrees_nothing_is_said(heading: str):
    assert read("271.4", heading).warnings == ()


def test_beyond_ten_it_is_refused():
    with pytest.raises(SettingsError, match="must be opposite within 10"):
        read("271.4", "281.5")


def test_a_painted_number_is_rounded_and_not_doubted_for_it():
    said = read('{ name = "28", heading_true_deg = 271.4 }', '{ name = "28" }').warnings
    assert all("opposite" not in warning for warning in said)
