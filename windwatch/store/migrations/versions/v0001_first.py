"""The first store: reports, events, episodes, notices, deliveries and their attempts."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

# SQLite counts up only what it calls INTEGER PRIMARY KEY.
COUNTED = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "acknowledgements",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("episode", sa.String(length=64), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_acknowledgements"),
        sa.UniqueConstraint("episode", "by", "at", name="uq_acknowledgements_episode_by_at"),
    )
    op.create_index("ix_acknowledgements_episode", "acknowledgements", ["episode"])
    op.create_table(
        "airfield_states",
        sa.Column("airfield", sa.String(length=64), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("updated_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("airfield", name="pk_airfield_states"),
    )
    op.create_table(
        "channels_off",
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("contact", "channel", name="pk_channels_off"),
    )
    op.create_table(
        "episodes",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("track", sa.Text(), nullable=False),
        sa.Column("airfield", sa.String(length=64), nullable=False),
        sa.Column("opened_at", sa.BigInteger(), nullable=False),
        sa.Column("opened_by", sa.String(length=64), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("closing", sa.Text(), nullable=False),
        sa.Column("worst", sa.Text(), nullable=False),
        sa.Column("last_step", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_episodes"),
        sa.UniqueConstraint("id", name="uq_episodes_id"),
    )
    op.create_index("ix_episodes_closed_at", "episodes", ["closed_at"])
    op.create_table(
        "events",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_events"),
    )
    op.create_index("ix_events_at", "events", ["at"])
    op.create_table(
        "meta",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_meta"),
    )
    op.create_table(
        "notices",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("airfield", sa.String(length=64), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("valid_until", sa.BigInteger(), nullable=False),
        sa.Column("notice", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_notices"),
        sa.UniqueConstraint("id", name="uq_notices_id"),
    )
    op.create_index("ix_notices_at", "notices", ["at"])
    op.create_index("ix_notices_contact_airfield_at", "notices", ["contact", "airfield", "at"])
    op.create_table(
        "reports",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("observed_at", sa.BigInteger(), nullable=True),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("raw", sa.Text(), nullable=False),
        sa.Column("source", sa.String(length=64), nullable=False),
        sa.Column("status", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_reports"),
        sa.UniqueConstraint("id", name="uq_reports_id"),
    )
    op.create_index("ix_reports_received_at", "reports", ["received_at"])
    op.create_index("ix_reports_station_observed_at", "reports", ["station", "observed_at"])
    op.create_table(
        "settings_seen",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_settings_seen"),
    )
    op.create_table(
        "steps",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("episode", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=32), nullable=False),
        sa.Column("track_kind", sa.String(length=16), nullable=False),
        sa.Column("airfield", sa.String(length=64), nullable=False),
        sa.Column("aircraft", sa.Text(), nullable=False),
        sa.Column("pilot_limits", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_steps"),
        sa.UniqueConstraint("id", name="uq_steps_id"),
    )
    op.create_index("ix_steps_at", "steps", ["at"])
    op.create_index("ix_steps_episode", "steps", ["episode"])
    op.create_table(
        "deliveries",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("notice", sa.String(length=64), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("channel", sa.String(length=64), nullable=False),
        sa.Column("airfield", sa.String(length=64), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("valid_until", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("open_rank", sa.SmallInteger(), nullable=True),
        sa.Column("due_at", sa.BigInteger(), nullable=True),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("lease_until", sa.BigInteger(), nullable=True),
        sa.Column("accepted_at", sa.BigInteger(), nullable=True),
        sa.Column("last_answer", sa.Text(), nullable=False),
        sa.Column("plain", sa.Boolean(), nullable=False),
        sa.Column("fall_back", sa.Boolean(), nullable=False),
        sa.Column("unreached", sa.Boolean(), nullable=False),
        sa.Column("replaced_by", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["notice"], ["notices.id"], name="fk_deliveries_notice"),
        sa.PrimaryKeyConstraint("number", name="pk_deliveries"),
        sa.UniqueConstraint("id", name="uq_deliveries_id"),
    )
    op.create_index(
        "ix_deliveries_contact_channel_airfield_open_rank_number",
        "deliveries",
        ["contact", "channel", "airfield", "open_rank", "number"],
    )
    op.create_index("ix_deliveries_notice", "deliveries", ["notice"])
    op.create_index("ix_deliveries_open_rank_number", "deliveries", ["open_rank", "number"])
    op.create_index(
        "ix_deliveries_unreached",
        "deliveries",
        ["contact", "channel", "airfield"],
        sqlite_where=sa.text("unreached = 1"),
        postgresql_where=sa.text("unreached"),
    )
    op.create_table(
        "notice_steps",
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("step", sa.String(length=64), nullable=False),
        sa.Column("notice", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["notice"], ["notices.id"], name="fk_notice_steps_notice"),
        sa.PrimaryKeyConstraint("contact", "step", name="pk_notice_steps"),
    )
    op.create_index("ix_notice_steps_notice", "notice_steps", ["notice"])
    op.create_table(
        "attempts",
        sa.Column("delivery", sa.String(length=64), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=False),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["delivery"], ["deliveries.id"], name="fk_attempts_delivery"),
        sa.PrimaryKeyConstraint("delivery", "number", name="pk_attempts"),
    )
