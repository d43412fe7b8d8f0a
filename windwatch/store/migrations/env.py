"""What Alembic runs: the steps, in the connection and transaction that `upgrade` opened."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
# Not within Alembic's own transaction: ours has begun, and ends after the last step.
context.run_migrations()
