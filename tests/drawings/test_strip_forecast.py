"""The forecast on the wind strip: whose it is, and directions that are none."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.drawings.reading import all_text, parts, root_of, wind
from tests.drawings.samples import NOW
from windwatch.drawings.strip import strip_drawing
from windwatch.drawings.strip_facts import Strip, StripForecast, StripPoint
from windwatch.drawings.theme import LIGHT
from windwatch.wind import CALM, MISSING, VARIABLE, Wind

HOUR = timedelta(hours=1)


def ahead(told: Wind | None, of: str = "", temporary: bool = False) -> Strip:
    """One report, and one forecast wind from two hours to six hours ahead."""
    span = StripForecast(NOW + 2 * HOUR, NOW + 6 * HOUR, told, temporary)
    points = (StripPoint(NOW, wind(270, 9)),)
    return Strip("XLKS", NOW, points, forecast=(span,), forecast_of=of, ahead=12 * HOUR)


def lighter(told: Strip) -> list[str]:
    """Tags of the signs in the lane of directions that are drawn as a forecast."""
    (lane,) = parts(strip_drawing(told, LIGHT), "data-part", "lane")
    return [
        one.tag.rpartition("}")[2] for one in lane.iter() if one.attrib.get("stroke") == LIGHT.thin
    ]


@pytest.mark.parametrize(("of", "said"), [("", "forecast"), ("XLKS", "forecast")])
def test_the_stations_own_forecast_needs_no_name(of: str, said: str) -> None:
    assert said in all_text(strip_drawing(ahead(wind(270, 9), of), LIGHT))


def test_another_stations_forecast_is_named_where_there_is_room() -> None:
    told = ahead(wind(270, 9), "XBRN")
    assert "forecast XBRN" in all_text(strip_drawing(told, LIGHT, 720))
    narrow = all_text(strip_drawing(told, LIGHT, 340))
    assert "forecast" in narrow
    assert "forecast XBRN" not in narrow


def test_a_steady_direction_is_one_line() -> None:
    assert lighter(ahead(wind(270, 9))) == ["line"]


def test_variable_and_calm_are_no_direction() -> None:
    variable = lighter(ahead(wind(VARIABLE, 3)))
    assert len(variable) > 2
    (lane,) = parts(strip_drawing(ahead(wind(VARIABLE, 3)), LIGHT), "data-part", "lane")
    upright = [one for one in lane.iter() if one.attrib.get("stroke-dasharray") == "7 4"]
    assert len(upright) == len(variable)
    assert all(one.attrib["x1"] == one.attrib["x2"] for one in upright)
    assert set(lighter(ahead(wind(CALM, 0)))) == {"circle"}


@pytest.mark.parametrize(
    "told", [ahead(wind(MISSING, 9)), ahead(None), ahead(wind(300, 25), "", True)]
)
def test_what_says_no_direction_or_is_temporary_draws_none(told: Strip) -> None:
    assert lighter(told) == []


def test_it_stays_a_drawing_of_its_width() -> None:
    root = root_of(strip_drawing(ahead(wind(VARIABLE, 3)), LIGHT, 360))
    assert root.attrib["width"] == "360"
