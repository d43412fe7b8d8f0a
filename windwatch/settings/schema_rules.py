"""The tables of the figures of judgement; their defaults and ranges are those of `Rules`."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

from pydantic import Field, create_model

from windwatch.rules import USUAL, About, Figure, Rules, figures
from windwatch.settings import words
from windwatch.settings.schema_base import Table, duration_type

# The figures that belong to the table of reminders; all others stand in that of the rules.
REMINDERS: Final = ("remind_every", "standing_after")


def written(figure: Figure) -> str | float | int:
    """A figure as the file has it."""
    return words.spoken(figure) if isinstance(figure, timedelta) else figure


def shown(figure: Figure) -> str:
    """A figure as people would write it: ``2``, ``0.05``, ``30min``."""
    value = written(figure)
    return value if isinstance(value, str) else f"{value:g}"


def range_in_words(about: About) -> str:
    """``0.5 to 5``, ``10min to 3h``."""
    return f"{shown(about.least)} to {shown(about.most)}"


def _key(about: About, usual: Figure) -> tuple[Any, Any]:
    """The type and the rules of one key."""
    value = written(usual)
    basis = about.source or "an engineering judgement"
    described: dict[str, Any] = {
        "default": value,
        "description": f"{about.what} {range_in_words(about)}, usually {shown(usual)}: {basis}.",
        "examples": [value],
    }
    if isinstance(usual, timedelta):
        return duration_type(str(written(about.least)), str(written(about.most))), Field(
            **described
        )
    return type(usual), Field(ge=about.least, le=about.most, **described)


def _keys(names: tuple[str, ...]) -> dict[str, Any]:
    known = figures()
    return {name: _key(known[name], getattr(USUAL, name)) for name in names}


RemindersTable: Final = create_model(
    "RemindersTable",
    __base__=Table,
    __doc__="How often an open warning about a parked aircraft is repeated, and how long.",
    **_keys(REMINDERS),
)
RulesTable: Final = create_model(
    "RulesTable",
    __base__=Table,
    __doc__="The figures of judgement. Change one with evidence; what is left out is as usual.",
    **_keys(tuple(name for name in figures() if name not in REMINDERS)),
)


def rules_of(*tables: Table) -> Rules:
    """The figures that the tables give."""
    given = {key: value for table in tables for key, value in table.model_dump().items()}
    read: dict[str, Any] = {
        name: words.duration(value)
        if isinstance(value, str)
        # A margin of 2 is one of 2.0.
        else type(getattr(USUAL, name))(value)
        for name, value in given.items()
    }
    return Rules(**read)
