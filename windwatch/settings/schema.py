"""The whole file, and its rules as JSON Schema."""

from __future__ import annotations

from typing import Any, Final

from pydantic import Field

from windwatch.settings.schema_airfield import AirfieldTable
from windwatch.settings.schema_base import Table
from windwatch.settings.schema_board import BoardTable
from windwatch.settings.schema_people import AircraftTable, ContactTable, PilotLimitsTable
from windwatch.settings.schema_rim import (
    DeliveryTable,
    FeedTable,
    MailTable,
    StoreTable,
)
from windwatch.settings.schema_rules import RemindersTable, RulesTable
from windwatch.settings.schema_watch import WatchTable

_FEED_EXAMPLE: Final[dict[str, Any]] = {"kind": "awc", "contact": "ops@larkspur.example"}
_AIRFIELD_EXAMPLE: Final[dict[str, Any]] = {
    "id": "XLKS",
    "latitude": 42.93,
    "longitude": -76.02,
    "elevation_ft": 960,
    "time_zone": "America/New_York",
    "runway": [{"ends": [{"name": "10"}, {"name": "28"}]}],
}
_AIRCRAFT_EXAMPLE: Final[dict[str, Any]] = {
    "name": "X-LARK",
    "gear": "nosewheel",
    "wing": "high",
    "based_at": "XLKS",
    "limits": {"crosswind_kt": 15, "tie_down_kt": 25},
}


class WholeFile(Table):
    """A configuration of windwatch."""

    feed: FeedTable = Field(description="Source of the reports.", examples=[_FEED_EXAMPLE])
    store: StoreTable = Field(
        default=StoreTable(),
        description="Where the books are kept.",
        examples=[{"path": "windwatch.db"}],
    )
    delivery: DeliveryTable = Field(
        default=DeliveryTable(),
        description="How notices leave the house.",
        examples=[{"folder": "notices"}],
    )
    watch: WatchTable = Field(
        default=WatchTable(),
        description="Watching the watcher.",
        examples=[{"heartbeat_url": "https://heartbeat.larkspur.example/windwatch"}],
    )
    board: BoardTable | None = Field(
        default=None,
        description="The board; with this table the watch opens it.",
        examples=[{"port": 8460}],
    )
    mail: MailTable | None = Field(
        default=None,
        description="Mail server.",
        examples=[{"host": "mail.larkspur.example", "sender": "wind@larkspur.example"}],
    )
    reminders: RemindersTable = Field(  # type: ignore[valid-type]
        default=RemindersTable(),
        description="How often open warnings are repeated, and for how long.",
        examples=[{"remind_every": "3h"}],
    )
    rules: RulesTable = Field(  # type: ignore[valid-type]
        default=RulesTable(),
        description="The figures of judgement: margins, holds and times.",
        examples=[{"runway_hold": "45min"}],
    )
    airfield: list[AirfieldTable] = Field(
        min_length=1, description="The airfields that are watched.", examples=[[_AIRFIELD_EXAMPLE]]
    )
    aircraft: list[AircraftTable] = Field(
        default=[], description="The aircraft.", examples=[[_AIRCRAFT_EXAMPLE]]
    )
    pilot_limits: list[PilotLimitsTable] = Field(
        default=[],
        description="Standards of pilots.",
        examples=[[{"name": "student solo", "limits": {"crosswind_kt": 7}}]],
    )
    contact: list[ContactTable] = Field(
        default=[],
        description="Whom to tell.",
        examples=[[{"name": "operations desk", "email": "ops@larkspur.example"}]],
    )


def schema() -> dict[str, Any]:
    """Return the rules of the file as JSON Schema, with a description and an example per key."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **WholeFile.model_json_schema(by_alias=True),
        "title": "windwatch configuration",
    }
