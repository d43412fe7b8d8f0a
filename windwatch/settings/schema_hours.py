"""The tables about a contact's own hours."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from windwatch.hours import WEEKDAYS
from windwatch.settings import words
from windwatch.settings.schema_base import ClockTime, Table

_LONGEST_DATE: Final = 10


def _dated(value: object) -> object:
    """TOML has dates of its own; both spellings mean the same."""
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value.isoformat()
    return value


def _date(text: str) -> str:
    try:
        if len(text) == _LONGEST_DATE:
            dt.date.fromisoformat(text)
            return text
    except ValueError:
        pass
    raise words.refused(f"{words.shown(text)} is no date", 'write year-month-day, as "2026-08-01"')


DateText = Annotated[
    str,
    BeforeValidator(_dated),
    AfterValidator(_date),
    Field(json_schema_extra={"pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"}),
]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class QuietHoursTable(Table):
    """Local hours in which what can wait does, every day."""

    from_: ClockTime = Field(
        alias="from", description="Local time at which they begin.", examples=["22:00"]
    )
    to: ClockTime = Field(
        description="Local time at which they end, the next day where it is earlier.",
        examples=["06:00"],
    )


class DutyTable(Table):
    """Local hours in which a contact is there."""

    days: list[Weekday] = Field(
        default=list(WEEKDAYS),
        min_length=1,
        description="Days on which they begin; left out: every day.",
        examples=[["mon", "tue", "wed", "thu", "fri"]],
    )
    from_: ClockTime = Field(
        alias="from", description="Local time at which duty begins.", examples=["07:00"]
    )
    to: ClockTime = Field(
        description="Local time at which it ends, the next day where it is not later.",
        examples=["19:00"],
    )


class AbsenceTable(Table):
    """Days on which a contact is away."""

    from_: DateText = Field(
        alias="from", description="First day away, local date.", examples=["2026-08-01"]
    )
    until: DateText = Field(description="Last day away, local date.", examples=["2026-08-15"])
