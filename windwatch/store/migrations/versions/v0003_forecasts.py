"""Forecasts (TAFs), to be shown beside what was observed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

# SQLite counts up only what it calls INTEGER PRIMARY KEY.
COUNTED = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table of forecasts."""
    op.create_table(
        "forecasts",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("station", sa.String(length=64), nullable=False),
        sa.Column("issued_at", sa.BigInteger(), nullable=False),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("raw", sa.Text(), nullable=False),
        sa.Column("source", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_forecasts"),
        sa.UniqueConstraint("id", name="uq_forecasts_id"),
    )
    op.create_index("ix_forecasts_received_at", "forecasts", ["received_at"])
    op.create_index("ix_forecasts_station_issued_at", "forecasts", ["station", "issued_at"])
