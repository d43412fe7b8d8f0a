"""What the tests of the worker and of the fault table share: a store, a clock, real servers."""

import pytest

from tests.delivery.little_worker import NOW
from tests.servers.mail_server import MailServer
from tests.servers.webhook_server import WebhookReceiver
from windwatch.clock import HandClock
from windwatch.store.store import open_store


@pytest.fixture
def mail():
    with MailServer() as server:
        yield server


@pytest.fixture
def hook():
    with WebhookReceiver(check_time=False) as receiver:
        yield receiver


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def store(tmp_path, clock):
    with open_store(tmp_path / "watch.db", clock, durable=False) as store:
        yield store
