"""What limits may not say together."""

from __future__ import annotations

from typing import Final

from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.schema_limits import AircraftLimits, LimitTable, RunwayLimits

# Reports need not show gusts that stand less than this over the mean or the lulls
# (design.md section 4).
SHOWN_SPREAD_KT: Final = 10


def given(limits: RunwayLimits) -> dict[str, LimitTable]:
    """Return the limits that are set, by key."""
    return {key: limit for key in type(limits).model_fields if (limit := getattr(limits, key))}


def judge_limits(found: Findings, loc: Loc, limits: RunwayLimits) -> None:
    """Judge the limits of one aircraft, pilot standard or runway."""
    spread = limits.gust_spread_kt
    if spread is not None:
        if spread.of == "mean":
            found.refuse(
                (*loc, "gust_spread_kt"),
                'of = "mean": the mean wind has no gust spread',
                "take of out, as gust_spread_kt = 12",
                (*loc, "gust_spread_kt"),
            )
        if spread.kt < SHOWN_SPREAD_KT:
            found.caution(
                (*loc, "gust_spread_kt"),
                f"{spread.kt:g} is below {SHOWN_SPREAD_KT} kt, from which on reports show gusts",
                "do not count on being warned below that; limit wind_kt as well",
            )
    if isinstance(limits, AircraftLimits):
        _judge_ground(found, loc, limits)


def _judge_ground(found: Findings, loc: Loc, limits: AircraftLimits) -> None:
    for key in ("tie_down_kt", "shelter_kt"):
        limit: LimitTable | None = getattr(limits, key)
        if limit is not None and limit.confirm_reports > 1:
            found.refuse(
                (*loc, key),
                f"confirm_reports = {limit.confirm_reports} would hold back the warning to secure "
                "it, by an hour where reports are hourly",
                "take confirm_reports out",
                (*loc, key),
            )
    if limits.tie_down_kt and limits.shelter_kt and limits.shelter_kt.kt < limits.tie_down_kt.kt:
        found.caution(
            (*loc, "shelter_kt"),
            f"{limits.shelter_kt.kt:g} is below tie_down_kt = {limits.tie_down_kt.kt:g}",
            "make sure that they are not mixed up",
        )
