"""A lease, for several watchers on one store of which one leads."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table of the lease."""
    op.create_table(
        "lease",
        sa.Column("name", sa.String(length=16), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("since", sa.BigInteger(), nullable=False),
        sa.Column("until", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("name", name="pk_lease"),
    )
