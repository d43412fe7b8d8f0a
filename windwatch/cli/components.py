"""``windwatch components``: a wind along and across a heading."""

from __future__ import annotations

from typing import Any

import click

from windwatch.airmanship import cautions
from windwatch.airmanship.components import (
    Components,
    WindOnRunway,
    round_half_up_tenth,
    wind_on_runway,
)
from windwatch.cli.show import (
    caution_line,
    examples,
    paragraph,
    print_json,
    table,
    with_exit_status,
)
from windwatch.cli.wind_option import Given, given, heading_options, wind_options
from windwatch.cli.wind_words import degrees, first_upper, knots, side, wind_in_words
from windwatch.errors import UsageError
from windwatch.wind import Calm, DegreesTrue, Knots, Steady, Variable, Wind


@click.command(
    epilog=examples(
        'windwatch components --wind "22030G40KT 190V250" --heading-true 180',
        'windwatch components --wind-magnetic "220 at 30" --heading-magnetic 180',
        "windwatch components --wind 22030KT --heading-magnetic 193 --at 42.93,-76.02",
    )
)
@wind_options
@heading_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of a table.")
@with_exit_status
def components(
    wind: str | None,
    wind_magnetic: str | None,
    heading_true: float | None,
    heading_magnetic: float | None,
    variation: float | None,
    at: str | None,
    on: str | None,
    as_json: bool,
) -> None:
    """Headwind, tailwind and crosswind on a heading, from the mean wind and the gust.

    A wind in report form counts from true north, a spoken one and a painted runway number from
    magnetic north. To put them together, add --variation or --at.
    """
    asked = given(wind, wind_magnetic, heading_true, heading_magnetic, variation, at, on)
    if asked.heading is None:
        raise UsageError("which heading? Add --heading-true DEG or --heading-magnetic DEG")
    found = wind_on_runway(asked.wind, asked.heading)
    if as_json:
        print_json(components_as_json(found))
        return
    click.echo(_shown(asked, asked.heading, found))


def components_as_json(found: WindOnRunway) -> dict[str, Any]:
    """Keys as design.md section 5 has them; null where there is no direction. [kt]."""
    return {
        **_parts(found.mean),
        "gust": None if found.gust is None else _parts(found.gust),
        "worst": {
            "crosswind_kt": _figure(found.worst_crosswind),
            "tailwind_kt": _figure(found.worst_tailwind),
        },
    }


def _parts(parts: Components | None) -> dict[str, float | None]:
    if parts is None:
        return dict.fromkeys(("headwind_kt", "crosswind_kt", "tailwind_kt"))
    return {
        "headwind_kt": _figure(parts.headwind),
        "crosswind_kt": _figure(parts.crosswind),
        "tailwind_kt": _figure(parts.tailwind),
    }


def _figure(speed: Knots) -> float:
    """Fine enough for any comparison, free of binary dust and of -0.0."""
    return round(speed, 4) + 0.0


def _shown(asked: Given, heading: DegreesTrue, found: WindOnRunway) -> str:
    wind = asked.wind
    rows = [
        row
        for row in (
            _row(f"mean, {knots(wind.speed)}", found.mean),
            None if wind.gust is None else _row(f"gust, {knots(wind.gust)}", found.gust),
            *_worst_rows(wind, found),
        )
        if row is not None
    ]
    said = first_upper(wind_in_words(wind, asked.reference))
    lines = [
        paragraph(f"{said}; heading {degrees(heading)} {asked.reference}."),
        "",
        table(rows, ("figures in kt", "headwind", "tailwind", "crosswind", "from")),
        "",
        *(paragraph(remark) for remark in _remarks(wind)),
        *(paragraph(sentence) for sentence in asked.how),
        caution_line(),
    ]
    return "\n".join(lines)


def _row(name: str, parts: Components | None) -> tuple[str, ...] | None:
    if parts is None:
        return None
    return (
        name,
        _tenth(max(0.0, parts.headwind)),
        _tenth(parts.tailwind),
        _tenth(abs(parts.crosswind)),
        side(parts.crosswind),
    )


def _worst_rows(wind: Wind, found: WindOnRunway) -> tuple[tuple[str, ...] | None, ...]:
    """The worst at mean speed and in the gust, where the direction varies or is not known."""
    if wind.sector is not None:
        name = "worst of the sector"
    elif isinstance(wind.direction, (Steady, Calm)):
        return ()
    else:
        name = "from anywhere"
    at_mean = (
        f"{name}, mean",
        "",
        _tenth(found.worst_mean_tailwind),
        _tenth(found.worst_mean_crosswind),
        "",
    )
    if wind.gust is None:
        return (at_mean,)
    in_gust = (f"{name}, gust", "", _tenth(found.worst_tailwind), _tenth(found.worst_crosswind), "")
    return at_mean, in_gust


def _remarks(wind: Wind) -> list[str]:
    """What the figures do not say by themselves."""
    remarks = []
    if isinstance(wind.direction, Variable):
        remarks.append(
            "Direction variable: the full speed counts as crosswind and as tailwind, for it may "
            "come from anywhere."
        )
    elif not isinstance(wind.direction, (Steady, Calm)):
        remarks.append("Direction not reported: the wind is counted as from anywhere.")
    if wind.speed_at_least or wind.gust_at_least:
        remarks.append("The speed is reported as at least this; every figure is a lower bound.")
    if wind.gust is None:
        remarks.append(cautions.NO_GUST_REPORTED)
    return remarks


def _tenth(speed: float) -> str:
    return f"{round_half_up_tenth(speed):.1f}"
