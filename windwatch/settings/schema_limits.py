"""The tables of limits, which aircraft, pilots and runways share."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from windwatch.settings.schema_base import LimitKnots, Table


def _as_limit(value: object) -> object:
    """A bare number is the limit in knots."""
    return value if isinstance(value, dict) else {"kt": value}


class LimitTable(Table):
    """A limit with its conditions."""

    kt: LimitKnots = Field(description="The limit in knots.", examples=[15])
    of: Literal["gust", "mean"] = Field(
        default="gust",
        description="Figure it applies to: from the gust (usual) or from the mean wind.",
        examples=["mean"],
    )
    near_at: float | None = Field(
        default=None,
        ge=0.5,
        le=0.99,
        description=(
            "Share of the limit beyond which the level is near; 0.5 to 0.99, usually as in "
            "[rules], 0.8."
        ),
        examples=[0.9],
    )
    confirm_reports: int = Field(
        default=1,
        ge=1,
        le=3,
        description=(
            "How many reports in a row must be over before it is told; 1 to 3, usually 1. "
            "Not for tie-down and shelter: waiting can cost an hour."
        ),
        examples=[2],
    )


LimitEntry = Annotated[
    LimitTable, BeforeValidator(_as_limit, json_schema_input_type=float | LimitTable)
]


class RunwayLimits(Table):
    """Limits that belong to landing and taking off."""

    crosswind_kt: LimitEntry | None = Field(
        default=None, description="Largest wind across the runway.", examples=[15]
    )
    tailwind_kt: LimitEntry | None = Field(
        default=None, description="Largest wind from behind.", examples=[8]
    )
    wind_kt: LimitEntry | None = Field(
        default=None, description="Strongest wind from any direction.", examples=[25]
    )
    gust_spread_kt: LimitEntry | None = Field(
        default=None,
        description=(
            "Largest difference of gust and mean wind. Reports show none below about 10 kt."
        ),
        examples=[12],
    )


class AircraftLimits(RunwayLimits):
    """Limits of an aircraft, flying and on the ground."""

    taxi_wind_kt: LimitEntry | None = Field(
        default=None, description="Wind above which nobody taxies it.", examples=[30]
    )
    tie_down_kt: LimitEntry | None = Field(
        default=None, description="Wind above which it must be secured now.", examples=[25]
    )
    shelter_kt: LimitEntry | None = Field(
        default=None,
        description="Wind above which it belongs in a hangar or elsewhere.",
        examples=[40],
    )
