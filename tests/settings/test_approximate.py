"""`approximate = true` of a runway end: a heading that nobody surveyed is called so."""

from pathlib import Path

import pytest

from windwatch.airmanship.variation import true_heading
from windwatch.errors import SettingsError
from windwatch.settings.read import read_settings
from windwatch.wind import HeadingMagnetic, HeadingTrue

MINIMAL = (Path(__file__).parents[2] / "config" / "minimal.toml").read_text(encoding="utf-8")
ENDS = (
    'ends = [{ name = "10", heading_true_deg = 91.4 }, { name = "28", heading_true_deg = 271.4 }]'
)


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(ends: str):
    assert MINIMAL.count(ENDS) == 1
    Path("field.toml").write_text(MINIMAL.replace(ENDS, f"ends = {ends}"), encoding="utf-8")
    return read_settings([Path("field.toml")], {}, require_secrets=False)


def test_a_heading_is_a_survey_unless_it_is_said():
    assert true_heading(HeadingTrue(91.4), -11.5) == (91.4, False)
    assert true_heading(HeadingMagnetic(103.0), -11.5) == (91.5, False)


def test_a_heading_that_is_said_to_be_approximate_stays_so_in_degrees_true():
    assert true_heading(HeadingTrue(91.4, approximate=True), -11.5) == (91.4, True)
    assert true_heading(HeadingMagnetic(103.0, approximate=True), -11.5) == (91.5, True)


def test_one_end_may_be_approximate_and_config_check_asks_for_a_survey():
    settings = read(
        '[{ name = "N", heading_true_deg = 360, approximate = true }, '
        '{ name = "S", heading_magnetic_deg = 191, approximate = true }]'
    )
    ends = settings.fleet.airfields[0].runways[0].ends
    assert ends[0].heading == HeadingTrue(360.0, approximate=True)
    assert ends[1].heading == HeadingMagnetic(191.0, approximate=True)
    assert [each for each in settings.warnings if "its heading is called approximate" in each] == [
        f"field.toml:18: airfield XLKS, runway N/S, end {name}: its heading is called approximate, "
        "so every figure is; write the heading from a survey or chart, and take approximate out"
        for name in ("N", "S")
    ]


def test_a_number_alone_needs_no_such_word():
    with pytest.raises(SettingsError) as refused:
        read('[{ name = "10", approximate = true }, { name = "28" }]')
    (fault,) = refused.value.faults
    assert str(fault) == (
        "field.toml:18: airfield XLKS, runway 10/28, end 10, approximate: there is no heading that "
        "it could be about; a number alone is approximate anyway; take it out, or add "
        "heading_true_deg"
    )
