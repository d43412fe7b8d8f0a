"""The tables, as SQLAlchemy knows them; `migrations` makes them.

Times are whole milliseconds since 1970 UTC: they compare and sort alike in every database.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeDecorator

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
MILLISECOND: Final = timedelta(milliseconds=1)


class UtcTime(TypeDecorator[datetime]):
    """A moment, aware and UTC, kept as whole milliseconds since 1970."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> int | None:
        """Write a moment; one without a time zone is a mistake."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        return (value - EPOCH) // MILLISECOND

    def process_result_value(self, value: Any | None, _dialect: Dialect) -> datetime | None:
        """Read a moment."""
        return None if value is None else EPOCH + value * MILLISECOND


class Words(TypeDecorator[str]):
    """A text of any origin, with what PostgreSQL or UTF-8 cannot hold made visible.

    One NUL in a report must not undo the transaction that tells people of the wind.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, _dialect: Dialect) -> str | None:
        """Write a text."""
        return None if value is None else storable(value)


class Line(TypeDecorator[str]):
    """A short text from outside, cut to what fits."""

    impl = String
    cache_ok = True

    def __init__(self, length: int) -> None:
        super().__init__(length)
        self.length = length

    def process_bind_param(self, value: str | None, _dialect: Dialect) -> str | None:
        """Write a text."""
        return None if value is None else storable(value)[: self.length]


def storable(text: str) -> str:
    """Make NULs and halves of characters visible; every other text stays as it is."""
    if "\0" in text:
        text = text.replace("\0", "\N{SYMBOL FOR NULL}")
    try:
        text.encode()
    except UnicodeEncodeError:
        return text.encode(errors="replace").decode()
    return text


METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

ID: Final = String(64)
# SQLite counts up only what it calls INTEGER PRIMARY KEY.
COUNTED: Final = BigInteger().with_variant(Integer(), "sqlite")


def _number() -> Column[int]:
    """Order of writing, which no clock can turn round."""
    return Column("number", COUNTED, primary_key=True, autoincrement=True)


META: Final = Table(
    "meta",
    METADATA,
    Column("key", String(64), primary_key=True),
    Column("value", Words, nullable=False),
)

REPORTS: Final = Table(
    "reports",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("station", Line(64), nullable=False),
    Column("kind", Line(16), nullable=False),
    Column("observed_at", UtcTime),
    Column("received_at", UtcTime, nullable=False),
    Column("raw", Words, nullable=False),
    Column("source", Line(64), nullable=False),
    # accepted, duplicate, late, quarantined, superseded
    Column("status", String(16), nullable=False),
    Column("reason", Words, nullable=False),
    Index(None, "station", "observed_at"),
    Index(None, "received_at"),
)

# Forecasts are shown beside what was observed; nothing is judged by them yet.
FORECASTS: Final = Table(
    "forecasts",
    METADATA,
    _number(),
    # Of station and text: the same text is kept once, however often it comes.
    Column("id", ID, nullable=False, unique=True),
    Column("station", Line(64), nullable=False),
    Column("issued_at", UtcTime, nullable=False),
    # When it came first.
    Column("received_at", UtcTime, nullable=False),
    Column("raw", Words, nullable=False),
    Column("source", Line(64), nullable=False),
    Index(None, "station", "issued_at"),
    Index(None, "received_at"),
)

EVENTS: Final = Table(
    "events",
    METADATA,
    _number(),
    # report, tick, acknowledge, config, desk
    Column("kind", String(16), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("detail", Words, nullable=False),
    Index(None, "at"),
)

AIRFIELD_STATES: Final = Table(
    "airfield_states",
    METADATA,
    Column("airfield", String(64), primary_key=True),
    Column("state", Words, nullable=False),
    Column("updated_at", UtcTime, nullable=False),
)

EPISODES: Final = Table(
    "episodes",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("track", Words, nullable=False),
    Column("airfield", String(64), nullable=False),
    Column("opened_at", UtcTime, nullable=False),
    Column("opened_by", ID, nullable=False),
    Column("closed_at", UtcTime),
    # How it ended, in words; '' while it is open.
    Column("closing", Words, nullable=False),
    Column("worst", Words, nullable=False),
    Column("last_step", ID, nullable=False),
    Index(None, "closed_at"),
)

STEPS: Final = Table(
    "steps",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("episode", ID, nullable=False, index=True),
    Column("name", String(32), nullable=False),
    Column("track_kind", String(16), nullable=False),
    Column("airfield", String(64), nullable=False),
    Column("aircraft", Words, nullable=False),
    Column("pilot_limits", Words, nullable=False),
    Column("quantity", Words, nullable=False),
    Column("at", UtcTime, nullable=False, index=True),
    Column("step", Words, nullable=False),
)

NOTICES: Final = Table(
    "notices",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("contact", Words, nullable=False),
    Column("airfield", String(64), nullable=False),
    Column("at", UtcTime, nullable=False, index=True),
    Column("kind", String(16), nullable=False),
    Column("urgent", Boolean, nullable=False),
    Column("valid_until", UtcTime, nullable=False),
    Column("notice", Words, nullable=False),
    Column("content", Words, nullable=False),
    Index(None, "contact", "airfield", "at"),
)

# Judging the same reports again cannot tell anybody the same step twice.
NOTICE_STEPS: Final = Table(
    "notice_steps",
    METADATA,
    Column("contact", Words, primary_key=True),
    Column("step", ID, primary_key=True),
    Column("notice", ID, ForeignKey("notices.id"), nullable=False, index=True),
)

# What pictures are drawn from: kept once, however many contacts are sent the same.
PICTURES: Final = Table(
    "pictures",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("picture", Words, nullable=False),
)

NOTICE_PICTURES: Final = Table(
    "notice_pictures",
    METADATA,
    Column("notice", ID, ForeignKey("notices.id"), primary_key=True),
    # The most needed first.
    Column("place", SmallInteger, primary_key=True, autoincrement=False),
    Column("picture", ID, ForeignKey("pictures.id"), nullable=False, index=True),
)

DELIVERIES: Final = Table(
    "deliveries",
    METADATA,
    _number(),
    Column("id", ID, nullable=False, unique=True),
    Column("notice", ID, ForeignKey("notices.id"), nullable=False, index=True),
    Column("contact", Words, nullable=False),
    Column("channel", String(64), nullable=False),
    Column("airfield", String(64), nullable=False),
    Column("urgent", Boolean, nullable=False),
    Column("created_at", UtcTime, nullable=False),
    Column("valid_until", UtcTime, nullable=False),
    Column("state", String(16), nullable=False),
    # 0 urgent, 1 other, while the delivery is open; empty in an end state.
    Column("open_rank", SmallInteger),
    Column("due_at", UtcTime),
    Column("attempt", Integer, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("lease_until", UtcTime),
    Column("accepted_at", UtcTime),
    Column("last_answer", Words, nullable=False),
    Column("plain", Boolean, nullable=False),
    Column("fall_back", Boolean, nullable=False),
    # It ended without arriving, and nothing that arrived later has said it.
    Column("unreached", Boolean, nullable=False),
    Column("replaced_by", ID, nullable=False),
    Index(None, "open_rank", "number"),
    Index(None, "contact", "channel", "airfield", "open_rank", "number"),
    Index(
        "ix_deliveries_unreached",
        "contact",
        "channel",
        "airfield",
        # As SQLAlchemy asks for it: an index is used only where the words agree.
        sqlite_where=text("unreached = 1"),
        postgresql_where=text("unreached"),
    ),
)

ATTEMPTS: Final = Table(
    "attempts",
    METADATA,
    Column("delivery", ID, ForeignKey("deliveries.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("started_at", UtcTime, nullable=False),
    Column("ended_at", UtcTime),
    Column("outcome", String(16), nullable=False),
    Column("answer", Words, nullable=False),
)

CHANNELS_OFF: Final = Table(
    "channels_off",
    METADATA,
    Column("contact", Words, primary_key=True),
    Column("channel", String(64), primary_key=True),
    Column("address", String(64), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("answer", Words, nullable=False),
)

ACKNOWLEDGEMENTS: Final = Table(
    "acknowledgements",
    METADATA,
    _number(),
    Column("episode", ID, nullable=False, index=True),
    Column("by", Words, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("note", Words, nullable=False),
    UniqueConstraint("episode", "by", "at"),
)

SETTINGS_SEEN: Final = Table(
    "settings_seen",
    METADATA,
    _number(),
    Column("fingerprint", String(64), nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("detail", Words, nullable=False),
)

# Who leads where several watchers share the store; the number is counted up at every take-over.
LEASE: Final = Table(
    "lease",
    METADATA,
    Column("name", String(16), primary_key=True),
    Column("owner", Words, nullable=False),
    Column("number", BigInteger, nullable=False),
    Column("since", UtcTime, nullable=False),
    # Empty: the lead was given up, or a lock of the system says who has it.
    Column("until", UtcTime),
)
