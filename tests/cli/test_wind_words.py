import pytest

from windwatch.cli.wind_words import degrees, side, wind_in_words
from windwatch.reports.wind_group import read_wind_group
from windwatch.wind import Knots


@pytest.mark.parametrize(
    ("group", "words"),
    [
        ("22030G40KT", "wind from 220 true, 30 kt, gusts 40 kt"),
        ("00000KT", "calm"),
        ("VRB04KT", "wind variable, 4 kt"),
        ("///10KT", "wind 10 kt, direction not reported"),
        ("180P99KT", "wind from 180 true, at least 99 kt"),
        ("14008MPS", "wind from 140 true, 15.6 kt"),
        (
            "22012KT 190V250",
            "wind from 220 true, 12 kt, varying clockwise from 190 to 250 true",
        ),
    ],
)
def test_every_kind_of_wind_has_its_own_words(group, words):
    assert wind_in_words(read_wind_group(group)) == words


def test_no_wind_reported_is_not_calm():
    assert wind_in_words(None) == "wind not reported, which is not calm"


def test_a_crosswind_of_nothing_has_no_side():
    assert [side(Knots(kt)) for kt in (5, -5, 0.04, -0.04)] == ["right", "left", "", ""]


def test_north_is_360():
    assert [degrees(d) for d in (0, 360, 359.6, 9)] == ["360", "360", "360", "009"]
