import zoneinfo

import pytest

from windwatch.airfields.values import Zone
from windwatch.airfields.zones import _BY_REGION, _place, zone_of


def test_a_country_of_one_zone_is_sure():
    assert zone_of("GB", "GB-ENG", 51.8, -1.3) == Zone("Europe/London", sure=True)


def test_a_region_of_one_zone_is_sure():
    # Lubbock's neighbours to the west keep mountain time; the nearest principal place misleads.
    assert zone_of("US", "US-NM", 34.2, -103.3) == Zone("America/Denver", sure=True)


def test_a_divided_region_is_a_guess():
    assert zone_of("US", "US-TX", 33.6, -101.8) == Zone("America/Chicago", sure=False)


def test_elsewhere_the_nearest_place_of_the_country_is_a_guess():
    assert zone_of("PT", "PT-20", 37.7, -25.7) == Zone("Atlantic/Azores", sure=False)
    assert zone_of("AQ", "AQ-U-A", -89.9, 0.0).sure is False


def test_without_a_country_nothing_is_guessed():
    assert zone_of("", "", 0.0, 0.0) == Zone("", sure=False)
    assert zone_of("XX", "XX-1", 0.0, 0.0) == Zone("", sure=False)


@pytest.mark.parametrize("name", sorted({zone.name for zone in _BY_REGION.values()}))
def test_every_zone_of_a_region_is_in_the_database(name):
    assert zoneinfo.ZoneInfo(name)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("+4043-07400", (40.7167, -74.0)),
        ("+513030-0000731", (51.5083, -0.1253)),
        ("-9000+00000", (-90.0, 0.0)),
    ],
)
def test_places_of_the_database_are_read(text, place):
    assert _place(text) == pytest.approx(place, abs=0.001)
