"""A store in a file, and one in a real PostgreSQL database."""

import pytest

from tests.servers.samples import GUST_FRONT
from windwatch.clock import HandClock
from windwatch.store.store import open_database, open_store


@pytest.fixture
def clock():
    return HandClock(GUST_FRONT)


@pytest.fixture
def database(postgres):
    lent = postgres.lend()
    yield lent
    postgres.give_back(lent)


@pytest.fixture(params=["sqlite", "postgres"])
def store(request, tmp_path, clock):
    if request.param == "sqlite":
        opened = open_store(tmp_path / "watch.db", clock, durable=False)
    else:
        opened = open_database(request.getfixturevalue("database"), None, clock)
    with opened as store:
        yield store
