"""The time zone of a place: sure where a whole country or region keeps one, else the likeliest.

The zones and their principal places come from the time zone database itself (public domain),
which the program has with it. Which region keeps which zone is common knowledge, without a
source; whatever is not sure is said to be a guess.
"""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources
from typing import Final, NamedTuple

from windwatch.airfields.crosscheck import distance_ft
from windwatch.airfields.values import Zone

# Regions that keep one zone throughout, near enough; then those that lie in two, in which the
# nearer of the principal places decides, as a guess. Others: the nearest place of the country.
_WHOLE: Final = {
    "America/New_York": "US-CT US-DC US-DE US-GA US-MA US-MD US-ME US-NC US-NH US-NJ US-NY US-OH "
    "US-PA US-RI US-SC US-VA US-VT US-WV",
    "America/Chicago": "US-AL US-AR US-IA US-IL US-LA US-MN US-MO US-MS US-OK US-WI",
    "America/Denver": "US-CO US-MT US-NM US-UT US-WY",
    "America/Los_Angeles": "US-CA US-NV US-WA",
    "Pacific/Honolulu": "US-HI",
    "America/Moncton": "CA-NB",
    "America/Halifax": "CA-NS CA-PE",
    "America/Winnipeg": "CA-MB",
    "America/Edmonton": "CA-AB",
    "America/Whitehorse": "CA-YT",
    "Australia/Brisbane": "AU-QLD",
    "Australia/Darwin": "AU-NT",
    "Australia/Hobart": "AU-TAS",
    "Australia/Melbourne": "AU-VIC",
    "Australia/Sydney": "AU-ACT",
    "America/Sao_Paulo": "BR-DF BR-ES BR-GO BR-MG BR-PR BR-RJ BR-RS BR-SC BR-SP",
    "America/Araguaina": "BR-TO",
    "America/Bahia": "BR-BA",
    "America/Maceio": "BR-AL BR-SE",
    "America/Fortaleza": "BR-CE BR-MA BR-PB BR-PI BR-RN",
    "America/Belem": "BR-AP",
    "America/Boa_Vista": "BR-RR",
    "America/Campo_Grande": "BR-MS",
    "America/Cuiaba": "BR-MT",
    "America/Porto_Velho": "BR-RO",
    "America/Rio_Branco": "BR-AC",
}
# The zone that most of a divided region keeps.
_MOSTLY: Final = {
    "America/New_York": "US-FL US-KY US-MI",
    "America/Indiana/Indianapolis": "US-IN",
    "America/Chicago": "US-KS US-ND US-NE US-SD US-TN US-TX",
    "America/Boise": "US-ID",
    "America/Los_Angeles": "US-OR",
    "America/Phoenix": "US-AZ",
    "America/Anchorage": "US-AK",
    "America/Toronto": "CA-ON CA-QC",
    "America/Regina": "CA-SK",
    "America/Vancouver": "CA-BC",
    "America/St_Johns": "CA-NL",
    "Australia/Sydney": "AU-NSW",
    "Australia/Adelaide": "AU-SA",
    "Australia/Perth": "AU-WA",
    "America/Recife": "BR-PE",
    "America/Manaus": "BR-AM",
}
_BY_REGION: Final = {
    region: Zone(name, sure=sure)
    for table, sure in ((_WHOLE, True), (_MOSTLY, False))
    for name, regions in table.items()
    for region in regions.split()
}
_PLACE: Final = re.compile(r"([+-])(\d\d)(\d\d)(\d\d)?([+-])(\d{3})(\d\d)(\d\d)?")


class _Principal(NamedTuple):
    """The principal place of a zone."""

    country: str
    place: tuple[float, float]
    name: str


def zone_of(country: str, region: str, latitude: float, longitude: float) -> Zone:
    """The time zone of a place in a country and region (ISO 3166).

    The region's zone where it is known; else the zone of the nearest principal place of the
    country, sure where the country has only one; else nothing.
    """
    by_region = _BY_REGION.get(region)
    if by_region is not None:
        return by_region
    found = [each for each in _principal_places() if each.country == country]
    if not found:
        return Zone("", sure=False)
    nearest = min(found, key=lambda each: distance_ft((latitude, longitude), each.place))
    return Zone(nearest.name, sure=len(found) == 1)


@lru_cache(maxsize=1)
def _principal_places() -> tuple[_Principal, ...]:
    text = (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    lines = (line.split("\t") for line in text.splitlines() if line and line[0] != "#")
    return tuple(_Principal(country, _place(place), name) for country, place, name, *_ in lines)


def _place(text: str) -> tuple[float, float]:
    """Degrees of ``+4043-07400`` or ``+404251-0740023``."""
    found = _PLACE.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is no place in the time zone database")
    north, east = (
        (-1 if sign == "-" else 1) * (int(deg) + int(minutes) / 60 + int(seconds or 0) / 3600)
        for sign, deg, minutes, seconds in (found.groups()[:4], found.groups()[4:])
    )
    return north, east
