"""What the tests of the store write into it, and how they compare its tables."""

from typing import Any

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Engine

from tests.servers.samples import FINDING, GUST_FRONT, REPORT, TIE_DOWN
from windwatch.store.books import Books
from windwatch.store.tables import METADATA, UtcTime


def save_report(books: Books, report: str = "r1", status: str = "accepted") -> None:
    """The gust front's report, by any name."""
    books.save_report(
        id=report,
        station="XLKS",
        kind="SPECI",
        observed_at=REPORT.observed_at,
        received_at=GUST_FRONT,
        raw=REPORT.raw,
        source="awc",
        status=status,
    )


def open_episode(books: Books) -> None:
    """The episode that the gust front's report opened."""
    books.save_episode(
        id="episode-1",
        track=TIE_DOWN,
        opened_at=REPORT.observed_at,
        opened_by=REPORT.id,
        worst=FINDING,
    )


def differences(engine: Engine) -> list[Any]:
    """How the tables of a database differ from those that the program uses."""

    def same_type(context, found, wanted, found_type, wanted_type):
        if isinstance(wanted_type, UtcTime):
            return str(found_type) != "BIGINT"
        return None

    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": same_type})
        return compare_metadata(context, METADATA)
