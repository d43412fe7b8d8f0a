"""A wind and a heading from the command line, brought to one north before anything is computed.

A wind in report form is true, a wind spoken by a tower is magnetic; a heading says which it is.
Mixing them needs the variation, and nothing here assumes one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any, Final, NamedTuple

import click

from windwatch import clock
from windwatch.cli.wind_words import degrees
from windwatch.errors import UsageError
from windwatch.wind import (
    CALM,
    VARIABLE,
    DegreesMagnetic,
    DegreesTrue,
    Direction,
    Knots,
    Sector,
    Steady,
    Wind,
)

TRUE: Final = "true"
MAGNETIC: Final = "magnetic"
_BESIDE: Final = "beside"  # what --wind-magnetic holds where no wind follows it

_SPOKEN: Final = re.compile(
    r"""
    (?P<direction>[0-9]{1,3}|VARIABLE|VRB)\ ?(?:°|DEG(?:REES)?)?
    (?:\ ?/\ ?|\ AT\ |\ )
    (?P<speed>[0-9]{1,3})
    (?:\ ?(?:G|GUSTS?|GUSTING)\ ?(?:TO\ )?(?P<gust>[0-9]{1,3}))?
    \ ?(?:KT|KTS|KNOTS?)?
    """,
    re.VERBOSE,
)
_SIGNED: Final = re.compile(r"([-+−]?[0-9]{1,3}(?:\.[0-9]+)?) ?°? ?([NSEWnsew]?)")


class Given(NamedTuple):
    """A wind and a heading against one north.

    Attributes
    ----------
    wind : Wind
        Directions from the north of `reference`.
    heading : DegreesTrue or None
        From the same north; None where none was given. [°]
    reference : str
        ``true``; ``magnetic`` where all was given magnetic and no variation with it.
    how : tuple of str
        How one became the other, in sentences.
    """

    wind: Wind
    heading: DegreesTrue | None
    reference: str
    how: tuple[str, ...]


class Signed(click.ParamType[float]):
    """Degrees with a sign, or with a letter of the compass: ``-11.6`` or ``11.6W``."""

    def __init__(self, positive: str, negative: str, most: float, name: str) -> None:
        self.positive = positive
        self.negative = negative
        self.most = most
        self.name = name

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the degrees, or refuse them."""
        found = _SIGNED.fullmatch(str(value).strip())
        letter = found[2].upper() if found else ""
        if found is None or letter not in {"", self.positive, self.negative}:
            self.fail(f"{value!r} is not in degrees; {self.positive} is positive", param, ctx)
        figure = float(found[1].replace("−", "-"))
        if letter and figure < 0:
            self.fail(f"{value!r} has a sign and a letter; keep one of the two", param, ctx)
        if abs(figure) > self.most:
            self.fail(f"{value!r} is not between -{self.most:g} and {self.most:g}", param, ctx)
        return -figure if letter == self.negative else figure


VARIATION: Final = Signed("E", "W", 180, "degrees, east positive")
LATITUDE: Final = Signed("N", "S", 90, "latitude")
LONGITUDE: Final = Signed("E", "W", 180, "longitude")

Command = Callable[..., Any]


def wind_options(command: Command) -> Command:
    """Add the options for a wind and what makes it true."""
    for option in reversed(
        (
            click.option(
                "--wind", "wind", metavar="WIND", help="Wind in report form, degrees true: "
                '22030G40KT, "22030G40KT 190V250", VRB04KT, 00000KT, 14008MPS.',
            ),
            click.option(
                "--wind-magnetic", is_flag=False, flag_value=_BESIDE, metavar="[WIND]",
                help='Wind as a tower speaks it, degrees magnetic: "220 at 30 gusting 40" or '
                "22030G40KT. Without a value: the wind of --wind is magnetic.",
            ),
            click.option(
                "--variation", type=VARIATION, metavar="DEG",
                help="Magnetic variation, east positive: -11.6 or 11.6W.",
            ),
            click.option(
                "--at", metavar="LAT,LON",
                help="Take the variation of this place from the World Magnetic Model.",
            ),
            click.option("--on", metavar="DATE|YEAR", help="Date for --at; today if not given."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


def heading_options(command: Command) -> Command:
    """Add the two ways to give a heading."""
    both = click.FloatRange(0, 360)
    for option in (
        click.option(
            "--heading-magnetic", type=both, metavar="DEG", help="Heading in degrees magnetic."
        ),
        click.option("--heading-true", type=both, metavar="DEG", help="Heading in degrees true."),
    ):
        command = option(command)
    return command


def given(
    wind: str | None,
    wind_magnetic: str | None,
    heading_true: float | None = None,
    heading_magnetic: float | None = None,
    variation: float | None = None,
    at: str | None = None,
    on: str | None = None,
) -> Given:
    """Bring what was typed to one north.

    Raises
    ------
    UsageError
        If the wind or a heading is missing, unreadable or given twice, or if true and magnetic
        meet without a variation; it says what to add.
    """
    text, wind_is = _wind_text(wind, wind_magnetic)
    if heading_true is not None and heading_magnetic is not None:
        raise UsageError("give --heading-true or --heading-magnetic, not both")
    heading, heading_is = heading_true, TRUE
    if heading_magnetic is not None:
        heading, heading_is = heading_magnetic, MAGNETIC
    read = spoken_wind(text) if wind_is == MAGNETIC else report_wind(text)
    wanted = {wind_is} if heading is None else {wind_is, heading_is}
    known = _variation(variation, at, on)
    if known is None:
        if len(wanted) == 2:
            raise UsageError(
                f"the wind is {wind_is} and the heading {heading_is}: add --variation DEG (east "
                "positive, for example --variation -11.6) or --at LAT,LON"
            )
        # All against the same north: the angles between them are those against any other.
        return Given(read, None if heading is None else DegreesTrue(heading), wind_is, ())
    variation_deg, source = known
    how = [source] if MAGNETIC in wanted else []
    if wind_is == MAGNETIC:
        read = made_true(read, variation_deg)
        if isinstance(read.direction, Steady):
            how.append(f"Wind as spoken is magnetic; true {degrees(read.direction.wind_from)}.")
    if heading is not None and heading_is == MAGNETIC:
        true = _to_true(heading, variation_deg)
        how.append(f"Heading {heading:g} magnetic is {true:.1f} true.")
        return Given(read, true, TRUE, tuple(how))
    return Given(read, None if heading is None else DegreesTrue(heading), TRUE, tuple(how))


# --- the wind ------------------------------------------------------------------


def _wind_text(wind: str | None, wind_magnetic: str | None) -> tuple[str, str]:
    """The one wind that was typed, and its reference."""
    if wind_magnetic is None:
        if wind is None:
            raise UsageError(
                "which wind? Add --wind 22030G40KT (report form, degrees true) or "
                '--wind-magnetic "220 at 30 gusting 40" (as spoken by a tower)'
            )
        return wind, TRUE
    if wind_magnetic == _BESIDE:
        if wind is None:
            raise UsageError('--wind-magnetic needs a wind, for example "220 at 30 gusting 40"')
        return wind, MAGNETIC
    if wind is not None:
        raise UsageError("give the wind once, with --wind (true) or with --wind-magnetic")
    return wind_magnetic, MAGNETIC


def report_wind(text: str) -> Wind:
    """Read a wind in report form; directions are true.

    Raises
    ------
    UsageError
        If it is not in report form.
    """
    from windwatch.reports.wind_group import read_wind_group  # noqa: PLC0415 # not for --help

    try:
        return read_wind_group(text)
    except ValueError as error:
        if _spoken(text) is not None:
            raise UsageError(
                f"wind {text!r} is in the form of a spoken wind, which is magnetic: give it with "
                "--wind-magnetic, or write it as in a report (degrees true), for example 22030G40KT"
            ) from None
        raise UsageError(str(error)) from None


def spoken_wind(text: str) -> Wind:
    """Read a wind as spoken, or in report form; directions are left as they are.

    Raises
    ------
    UsageError
        If it is neither.
    """
    found = _spoken(text)
    return report_wind(text) if found is None else found


def _spoken(text: str) -> Wind | None:
    """``220 at 30 gusting 40``, ``220/30G40``, ``variable 4``, ``calm``; None where it is none."""
    words = " ".join(text.upper().split()).removeprefix("WIND ")
    if words == "CALM":
        return Wind(CALM, Knots(0.0))
    found = _SPOKEN.fullmatch(words)
    if found is None:
        return None
    direction: Direction = VARIABLE
    if found["direction"].isdecimal():
        if int(found["direction"]) > 360:
            return None
        direction = Steady(DegreesTrue(float(found["direction"]) or 360.0))
    gust = None if found["gust"] is None else Knots(float(found["gust"]))
    speed = Knots(float(found["speed"]))
    if gust is not None and gust <= speed:
        return None
    return Wind(CALM if not speed and gust is None else direction, speed, gust)


def made_true(wind: Wind, variation_deg: float) -> Wind:
    """A wind whose directions were magnetic, in degrees true; variation positive to the east."""
    direction, sector = wind.direction, wind.sector
    if isinstance(direction, Steady):
        direction = Steady(_to_true(direction.wind_from, variation_deg))
    if sector is not None:
        sector = Sector(
            _to_true(sector.from_true, variation_deg), _to_true(sector.to_true, variation_deg)
        )
    return wind._replace(direction=direction, sector=sector)


def _to_true(magnetic: float, variation_deg: float) -> DegreesTrue:
    from windwatch.airmanship.variation import to_true  # noqa: PLC0415 # only where mixed

    return to_true(DegreesMagnetic(magnetic), variation_deg)


# --- the variation ---------------------------------------------------------------


def _variation(
    variation_deg: float | None, at: str | None, on: str | None
) -> tuple[float, str] | None:
    """The variation and where it comes from, in words; None where none was given."""
    if at is None:
        if on is not None:
            raise UsageError("--on is the date for --at LAT,LON; add the place")
        if variation_deg is None:
            return None
        return variation_deg, f"Variation {east_or_west(variation_deg)}, as given."
    if variation_deg is not None:
        raise UsageError("give --variation or --at, not both")
    from windwatch.airmanship import variation as magnetic  # noqa: PLC0415 # only for --at

    latitude, longitude = place(at)
    found = magnetic.variation(latitude, longitude, when(on))
    remark = f"; {found.remark}" if found.remark else ""
    return (
        found.variation_deg,
        f"Variation {east_or_west(found.variation_deg)}, {found.model}{remark}.",
    )


def place(text: str, option: str = "--at") -> tuple[float, float]:
    """Latitude and longitude of ``42.93,-76.02`` or ``42.93N,76.02W``.

    Raises
    ------
    UsageError
        If it is no place.
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) == 2:
        try:
            return LATITUDE.convert(parts[0], None, None), LONGITUDE.convert(parts[1], None, None)
        except click.BadParameter as error:
            raise UsageError(f"{option} {text!r}: {error.message}") from None
    raise UsageError(
        f"{option} {text!r} is no place; write latitude,longitude, for example 42.9,-76.0"
    )


def when(text: str | None) -> date | float:
    """Date or decimal year of ``2026-09-22``, ``2026`` or ``2026.5``; today where not given.

    Raises
    ------
    UsageError
        If it is neither.
    """
    if text is None:
        return clock.utc_now().date()
    if re.fullmatch(r"[0-9]{4}(\.[0-9]+)?", text.strip()):
        return float(text)
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(
            f"--on {text!r} is no date; write 2026-09-22, or a year such as 2026 or 2026.5"
        ) from None


def east_or_west(variation_deg: float) -> str:
    """``11.6° west``, as pilots say it."""
    return f"{abs(variation_deg):.1f}° {'west' if variation_deg < 0 else 'east'}"
