"""``windwatch tie-down``: what to do for a parked aeroplane in this wind."""

from __future__ import annotations

from typing import Any

import click

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import cautions
from windwatch.airmanship.tie_down import (
    LIFT_EQUATION,
    Reminder,
    strongest_of,
    tie_down_reminders,
)
from windwatch.airmanship.wing_lift import (
    LiftBand,
    air_density_ratio,
    lift_in_words,
    wing_lift_share,
)
from windwatch.cli.show import caution_line, examples, paragraph, print_json, with_exit_status
from windwatch.cli.taxi import GEARS
from windwatch.cli.wind_option import given, report_wind, wind_options
from windwatch.cli.wind_words import first_upper, wind_in_words
from windwatch.errors import UsageError
from windwatch.wind import Knots, Wind

_LOWEST_PRESSURE_HPA = 500.0  # some 5,500 m: no airfield lies higher
_HIGHEST_PRESSURE_HPA = 1100.0


@click.command(
    epilog=examples(
        "windwatch tie-down --wind 29026G38KT --gear tailwheel --stall-speed 38",
        "windwatch tie-down --wind 18012KT --wind-to-come 30025G45KT --front",
    )
)
@wind_options
@click.option("--wind-to-come", metavar="WIND", help="Strongest wind forecast, degrees true.")
@click.option("--front", is_flag=True, help="A front, squall or thunderstorm is coming.")
@click.option(
    "--gear",
    type=click.Choice(list(GEARS)),
    default="nosewheel",
    show_default=True,
    help="Where the third wheel is; tricycle is nosewheel.",
)
@click.option(
    "--wing",
    type=click.Choice([wing.value for wing in WingPosition]),
    default=WingPosition.HIGH.value,
    show_default=True,
    help="Where the wing is.",
)
@click.option(
    "--stall-speed",
    type=click.FloatRange(min=10, max=200),
    metavar="KT",
    help="Clean, calibrated, at the largest weight: shows how much the wing carries.",
)
@click.option(
    "--temperature-c", type=click.FloatRange(-60, 60), metavar="C", help="Air temperature."
)
@click.option(
    "--pressure-hpa",
    type=click.FloatRange(_LOWEST_PRESSURE_HPA, _HIGHEST_PRESSURE_HPA),
    metavar="HPA",
    help="Pressure at the field itself (QFE), not reduced to the sea.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def tie_down(
    wind: str | None,
    wind_magnetic: str | None,
    variation: float | None,
    at: str | None,
    on: str | None,
    wind_to_come: str | None,
    front: bool,
    gear: str,
    wing: str,
    stall_speed: float | None,
    temperature_c: float | None,
    pressure_hpa: float | None,
    as_json: bool,
) -> None:
    """Reminders for a parked aircraft (tie-down or picketing), in the order of doing.

    With a stall speed, the share of its weight that the wing may carry is shown as a band. It is
    no limit: a quartering wind overturns an aeroplane far below 100 %.
    """
    if wind_magnetic is not None and variation is None and at is None:
        raise UsageError(
            "the wind is magnetic, and the nose is turned by degrees true: add --variation DEG "
            "(east positive, for example --variation -11.6) or --at LAT,LON"
        )
    if (temperature_c is None) != (pressure_hpa is None):
        raise UsageError("air density needs both, --temperature-c and --pressure-hpa")
    if stall_speed is None and temperature_c is not None:
        raise UsageError("temperature and pressure change only the wing lift: add --stall-speed KT")
    asked = given(wind, wind_magnetic, None, None, variation, at, on)
    to_come = None if wind_to_come is None else report_wind(wind_to_come)
    third_wheel, wing_position = GEARS[gear], WingPosition(wing)
    reminders = tie_down_reminders(
        third_wheel,
        wing_position,
        asked.wind,
        wind_to_come=to_come,
        stall_speed=None if stall_speed is None else Knots(stall_speed),
        front_coming=front,
        temperature_c=temperature_c,
        pressure_hpa=pressure_hpa,
    )
    told = [reminder for reminder in reminders if reminder.source != LIFT_EQUATION]
    lift = _lift(
        strongest_of(asked.wind, to_come), stall_speed, third_wheel, temperature_c, pressure_hpa
    )
    if as_json:
        print_json(_as_json(lift, told))
        return
    winds = wind_in_words(asked.wind)
    if to_come is not None:
        winds += f"; to come: {wind_in_words(to_come)}"
    sources = list(dict.fromkeys(reminder.source for reminder in told))
    if lift is not None:
        sources.append(LIFT_EQUATION)
    lines = [
        paragraph(
            f"Parked aircraft (tie-down or picketing): {third_wheel.value} aeroplane, "
            f"{wing_position.value} wing."
        ),
        paragraph(f"{first_upper(winds)}."),
        "",
        *(
            paragraph(
                f"{reminder.text} [{sources.index(reminder.source) + 1}]", f"{number:2}. ", "    "
            )
            for number, reminder in enumerate(told, start=1)
        ),
        "",
        *([paragraph(f"{lift_in_words(lift)} [{len(sources)}]"), ""] if lift else []),
        "Sources",
        *(
            paragraph(source, f"[{number}] ", "    ")
            for number, source in enumerate(sources, start=1)
        ),
        "",
        *(paragraph(sentence) for sentence in asked.how),
        *([paragraph(cautions.NO_GUST_REPORTED)] if asked.wind.gust is None else []),
        caution_line(),
    ]
    click.echo("\n".join(lines))


def _lift(
    wind: Wind | None,
    stall_speed: float | None,
    gear: Gear,
    temperature_c: float | None,
    pressure_hpa: float | None,
) -> LiftBand | None:
    """The band of the weight that the wing may carry; None without a stall speed."""
    if wind is None or stall_speed is None:
        return None
    density = 1.0
    if temperature_c is not None and pressure_hpa is not None:
        density = air_density_ratio(temperature_c, pressure_hpa)
    return wing_lift_share(wind.strongest, Knots(stall_speed), gear, density_ratio=density)


def _as_json(lift: LiftBand | None, reminders: list[Reminder]) -> dict[str, Any]:
    """The band as shares of the weight (1 is all of it), and the reminders in order."""
    return {
        "wing_lift": None
        if lift is None
        else {
            "share_of_weight_low": round(lift.low, 4),
            "share_of_weight_high": round(lift.high, 4),
            "assumptions": list(lift.assumptions),
        },
        "reminders": [{"text": reminder.text, "source": reminder.source} for reminder in reminders],
        "caution": cautions.CAUTION,
    }
