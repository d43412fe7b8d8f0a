"""Pictures of notices, each kept once, and which notice has which."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

# SQLite counts up only what it calls INTEGER PRIMARY KEY.
COUNTED = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables of pictures; the notices before them have none."""
    op.create_table(
        "pictures",
        sa.Column("number", COUNTED, autoincrement=True, nullable=False),
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("picture", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_pictures"),
        sa.UniqueConstraint("id", name="uq_pictures_id"),
    )
    op.create_table(
        "notice_pictures",
        sa.Column("notice", sa.String(length=64), nullable=False),
        sa.Column("place", sa.SmallInteger(), autoincrement=False, nullable=False),
        sa.Column("picture", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["notice"], ["notices.id"], name="fk_notice_pictures_notice"),
        sa.ForeignKeyConstraint(["picture"], ["pictures.id"], name="fk_notice_pictures_picture"),
        sa.PrimaryKeyConstraint("notice", "place", name="pk_notice_pictures"),
    )
    op.create_index("ix_notice_pictures_picture", "notice_pictures", ["picture"])
