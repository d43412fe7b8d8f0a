"""Channels in turn: the next starts when the first fails (reliability, section 3; F61 to F73)."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.delivery.little_worker import Even, Scripted, state_now
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.clock import HandClock
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.in_turn import starts
from windwatch.delivery.retry import Rule
from windwatch.delivery.worker import Worker
from windwatch.notices.outbox import DeliveryState, Outcome, Route
from windwatch.rules import USUAL
from windwatch.store.store import open_store

NOW = GUST_FRONT
SECOND, MINUTE = timedelta(seconds=1), timedelta(minutes=1)
DESK = "operations desk"


@pytest.fixture
def clock():
    return HandClock(NOW)


@pytest.fixture
def store(tmp_path, clock):
    with open_store(tmp_path / "watch.db", clock, durable=False) as store:
        yield store


class House:
    """One contact with channels in turn."""

    def __init__(self, store, clock, *channels, restate=state_now):
        self.store, self.clock = store, clock
        self.channels = channels
        for place, channel in enumerate(channels):
            channel.host = f"host {place}"
        names = ("email", "webhook", "folder")[: len(channels)]
        routes = {Route(DESK, n): c for n, c in zip(names, channels, strict=True)}
        self.book = ChannelBook(routes, {DESK})
        self.worker = Worker(store, self.book, clock, restate, Even())

    def tell(self, number=1, **how):
        notice = a_notice(DESK, number, at=self.clock.now(), **how)
        with self.store.transaction() as books:
            books.enqueue(notice, a_content(), self.book.starts_of(notice))
        return notice

    def drain_at(self, *seconds):
        for second in seconds:
            self.clock.set(NOW + second * SECOND)
            self.worker.drain()

    def states(self):
        return [(d.channel, d.state.value) for n in self.store.notices() for d in n.deliveries]

    def tries(self):
        return [[(at - NOW) / SECOND for at, _ in c.tried] for c in self.channels]


def test_without_fall_back_every_channel_starts_at_once():
    notice = a_notice(DESK)
    assert starts(notice, ("email", "webhook"), in_turn=False) == {"email": None, "webhook": None}


def test_in_turn_each_channel_waits_a_minute_more_and_what_is_not_urgent_uses_the_first_alone():
    three = ("email", "webhook", "folder")
    assert starts(a_notice(DESK), three, in_turn=True) == {
        "email": None,
        "webhook": NOW + MINUTE,
        "folder": NOW + 2 * MINUTE,
    }
    assert starts(a_notice(DESK, urgent=False), three, in_turn=True) == {"email": None}


def test_how_long_the_first_may_take_is_a_figure_of_the_configuration():
    rules = replace(USUAL, fall_back_after=5 * MINUTE)
    routes = {Route(DESK, "email"): Scripted(), Route(DESK, "webhook"): Scripted()}
    found = ChannelBook(routes, {DESK}, rules).starts_of(a_notice(DESK, at=NOW))
    assert found == {"email": None, "webhook": NOW + 5 * MINUTE}


def test_what_the_first_channel_takes_goes_by_no_other(store, clock):
    house = House(store, clock, Scripted(), Scripted())
    house.tell()
    house.drain_at(0, 60, 120)
    assert house.tries() == [[0], []]
    assert house.states() == [("email", "accepted"), ("webhook", "withdrawn")]
    ended = [d for n in store.notices() for d in n.deliveries if d.channel == "webhook"]
    assert ended[0].last_answer == "not needed: email took it"
    assert store.next_due(clock.now()) is None


@pytest.mark.fault("F61")
def test_f61_greylisted_for_ten_minutes_the_second_starts_at_60_s_and_the_first_goes_on(
    store, clock
):
    first, second = Scripted(*[Rule.GREYLISTED] * 3), Scripted()
    house = House(store, clock, first, second)
    house.tell()
    house.drain_at(*range(0, 1200, 5))
    # Greylisting: after 1, 5 and 10 minutes.
    assert house.tries() == [[0, 60, 360, 960], [60]]
    assert house.states() == [("email", "accepted"), ("webhook", "accepted")]


@pytest.mark.fault("F62", "F63", "F72", "F73")
@pytest.mark.parametrize(
    "rule", [Rule.REFUSED, Rule.GONE, Rule.CHANNEL_DOWN, Rule.INSECURE], ids=lambda rule: rule.name
)
def test_f62_f63_f72_f73_refused_gone_down_or_not_secure_the_second_starts_now(store, clock, rule):
    house = House(store, clock, Scripted(rule), Scripted())
    house.tell()
    house.drain_at(0)
    assert house.tries() == [[0], [0]]
    assert ("webhook", "accepted") in house.states()


@pytest.mark.fault("F63")
def test_f63_what_is_not_even_tried_because_the_channel_is_down_starts_the_second_now(store, clock):
    first = Scripted(Rule.CHANNEL_DOWN)
    house = House(store, clock, first, Scripted())
    house.tell(1, airfield="XLKS")
    house.drain_at(0)
    house.clock.set(NOW + 10 * SECOND)
    house.tell(2, airfield="XBRN")
    house.drain_at(10)
    assert house.tries() == [[0], [0, 10]]


def test_an_address_that_was_turned_off_before_starts_the_second_now(store, clock):
    house = House(store, clock, Scripted(Rule.GONE), Scripted())
    house.tell(1, airfield="XLKS")
    house.drain_at(0)
    house.clock.set(NOW + 300 * SECOND)
    house.tell(2, airfield="XBRN")
    house.drain_at(300)
    assert house.tries() == [[0], [0, 300]]


def test_the_third_channel_waits_for_the_second_to_fail_and_not_for_the_first_again(store, clock):
    first = Scripted(*[Rule.CHANNEL_DOWN] * 30)
    second = Scripted(Rule.AGAIN, Rule.REFUSED)
    house = House(store, clock, first, second, Scripted())
    house.tell()
    house.drain_at(*range(0, 30, 5))
    assert house.tries()[1:] == [[0, 5], [5]]


def test_a_third_channel_starts_after_two_minutes_where_two_hang(store, clock):
    house = House(
        store, clock, Scripted(*[Rule.AGAIN] * 30), Scripted(*[Rule.AGAIN] * 30), Scripted()
    )
    house.tell()
    house.drain_at(*range(0, 130, 5))
    assert house.tries()[2] == [120]
    assert ("email", "waiting") in house.states(), "the first goes on"


def test_a_second_channel_that_waits_for_its_next_try_ends_when_the_first_gets_through(
    store, clock
):
    house = House(store, clock, Scripted(*[Rule.AGAIN] * 5), Scripted(*[Rule.AGAIN] * 9))
    house.tell()
    house.drain_at(*range(0, 240, 5))
    assert house.states() == [("email", "accepted"), ("webhook", "withdrawn")]
    assert len(house.channels[1].tried) >= 2


def test_one_notice_of_the_state_now_ends_the_fall_backs_of_what_it_replaces(store, clock):
    # The second lane stands behind one that hangs; the first comes back with a newer notice.
    house = House(store, clock, Scripted(*[Rule.AGAIN] * 6), Scripted(*[Rule.AGAIN] * 90))
    house.tell(1)
    house.drain_at(*range(0, 100, 5))
    house.tell(2)
    house.drain_at(*range(100, 900, 5))
    assert house.channels[0].taken[-1].kind == "state now"
    assert {state for channel, state in house.states() if channel == "webhook"} <= {
        "withdrawn",
        "superseded",
    }
    assert store.next_due(clock.now()) is None


def test_a_crash_between_failure_and_fall_back_is_impossible_for_both_are_one_write(store, clock):
    house = House(store, clock, Scripted(Rule.REFUSED), Scripted())
    house.tell()
    claimed = store.claim_due(NOW, 5, MINUTE)
    assert [d.channel for d in claimed] == ["email"]
    store.finish([(claimed[0], Outcome(DeliveryState.REFUSED, "550", fall_back=True))], NOW)
    assert [d.channel for d in store.claim_due(NOW, 5, MINUTE)] == ["webhook"]
