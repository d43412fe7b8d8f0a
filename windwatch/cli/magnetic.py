"""``windwatch variation``: magnetic variation at a place and date."""

from __future__ import annotations

import click

from windwatch.airmanship import variation as magnetic
from windwatch.cli.show import examples, paragraph, print_json, with_exit_status
from windwatch.cli.wind_option import LATITUDE, LONGITUDE, east_or_west, when


# A southern or western place begins with a minus sign: it is no option.
@click.command(
    context_settings={"ignore_unknown_options": True},
    epilog=examples(
        "windwatch variation 42.93 -76.02",
        "windwatch variation -33.9 151.2 --on 2026-07-01 --elevation-ft 20",
        "windwatch variation 42.93N 76.02W --on 2026.5 --json",
    ),
)
@click.argument("latitude", type=LATITUDE, metavar="LAT")
@click.argument("longitude", type=LONGITUDE, metavar="LON")
@click.option("--on", metavar="DATE|YEAR", help="Date, or a year such as 2026.5; today without.")
@click.option("--elevation-ft", type=float, default=0.0, metavar="FT", help="Height above the sea.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def variation(
    latitude: float, longitude: float, on: str | None, elevation_ft: float, as_json: bool
) -> None:
    """Magnetic variation at LAT LON (north and east positive), by the World Magnetic Model.

    Variation is positive to the east: true = magnetic + variation.
    """
    asked_for = when(on)
    found = magnetic.variation(latitude, longitude, asked_for, elevation_ft)
    if as_json:
        answer: dict[str, object] = {
            "variation_deg": round(found.variation_deg, 4) + 0.0,
            "model": found.model,
            "valid_until": found.valid_until.isoformat(),
        }
        if found.remark is not None:
            answer["remark"] = found.remark
        print_json(answer)
        return
    sense = "less" if found.variation_deg < 0 else "more"
    said = (
        f"Variation {east_or_west(found.variation_deg)} at {latitude:g}, {longitude:g} for "
        f"{asked_for}: true is {abs(found.variation_deg):.1f}° {sense} than magnetic."
    )
    lines = [said, f"Model {found.model}, valid until {found.valid_until}."]
    if found.remark is not None:
        lines.append(f"Note: {found.remark}.")
    click.echo("\n".join(map(paragraph, lines)))
