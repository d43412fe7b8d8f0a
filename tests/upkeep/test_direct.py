"""Past the outbox: channels that stand in for each other do so there too (promise 17)."""

import threading
from datetime import timedelta

import pytest

from tests.delivery.little_worker import Scripted
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.clock import HandClock
from windwatch.delivery.channels import ChannelBook
from windwatch.delivery.retry import Rule
from windwatch.notices.outbox import Route, delivery_id
from windwatch.upkeep.direct import Direct

NOW = GUST_FRONT
SECOND = timedelta(seconds=1)
DESK = "operations desk"
SOON = timedelta(seconds=5)


class House:
    """One contact with channels, and notices sent past the outbox."""

    def __init__(self, *channels, in_turn=True):
        self.clock = HandClock(NOW)
        self.channels = channels
        names = ("email", "webhook", "folder")[: len(channels)]
        routes = {Route(DESK, n): c for n, c in zip(names, channels, strict=True)}
        self.direct = Direct(ChannelBook(routes, {DESK} if in_turn else ()), self.clock)
        self.notice = a_notice(DESK, at=NOW)

    def tell(self):
        self.direct.send([(self.notice, a_content())])
        assert self.direct.wait(SOON)

    def turn_at(self, *seconds):
        for second in seconds:
            self.clock.set(NOW + second * SECOND)
            self.direct.turn()
            assert self.direct.wait(SOON)

    def tries(self):
        return [[(at - NOW) / SECOND for at, _ in c.tried] for c in self.channels]


def test_without_turns_every_channel_is_used_at_once():
    house = House(Scripted(), Scripted(), in_turn=False)
    house.tell()
    assert house.tries() == [[0], [0]]


def test_what_the_first_channel_takes_goes_by_no_other():
    house = House(Scripted(), Scripted())
    house.tell()
    house.turn_at(30, 61, 200)
    assert house.tries() == [[0], []]


@pytest.mark.parametrize(
    "rule", [Rule.REFUSED, Rule.GONE, Rule.CHANNEL_DOWN, Rule.INSECURE], ids=lambda rule: rule.name
)
def test_where_the_first_cannot_take_it_the_second_starts_now_and_the_third_does_not(rule):
    house = House(Scripted(rule), Scripted(), Scripted())
    house.tell()
    assert house.tries() == [[0], [0], []]


def test_where_the_first_only_fails_the_second_starts_after_a_minute_and_the_first_goes_on():
    house = House(Scripted(*[Rule.AGAIN] * 3), Scripted())
    house.tell()
    house.turn_at(*range(5, 200, 5))
    assert house.tries() == [[0, 5, 20, 50], []], "the first got through in time"
    house = House(Scripted(*[Rule.AGAIN] * 4), Scripted())
    house.tell()
    house.turn_at(*range(5, 200, 5))
    assert house.tries() == [[0, 5, 20, 50, 110], [60]]


def test_a_second_that_fails_too_is_left_once_the_first_got_through():
    house = House(Scripted(*[Rule.AGAIN] * 4), Scripted(*[Rule.AGAIN] * 50))
    house.tell()
    house.turn_at(*range(5, 1000, 5))
    assert house.tries()[0] == [0, 5, 20, 50, 110]
    assert max(house.tries()[1]) <= 110


def test_a_second_that_is_under_way_when_the_first_gets_through_is_not_tried_again():
    second = Scripted(Rule.AGAIN, Rule.AGAIN)
    second.hold = threading.Event()
    house = House(Scripted(*[Rule.AGAIN] * 4), second)
    house.tell()
    house.turn_at(5, 20, 50)
    house.clock.set(NOW + 60 * SECOND)
    house.direct.turn()
    house.clock.set(NOW + 110 * SECOND)
    house.direct.turn()
    while not house.direct.answer(delivery_id(house.notice.id, "email")):
        threading.Event().wait(0.005)
    second.hold.set()
    assert house.direct.wait(SOON)
    house.turn_at(*range(115, 400, 5))
    assert house.tries() == [[0, 5, 20, 50, 110], [60]]


def test_what_the_outbox_takes_over_is_what_was_taken_directly():
    house = House(Scripted(Rule.REFUSED), Scripted())
    house.tell()
    [(delivery, outcome)] = house.direct.hand_over()
    assert delivery.channel == "webhook"
    assert outcome.state.value == "accepted"


def test_what_was_taken_directly_is_not_sent_again_when_the_store_fails_a_second_time():
    house = House(Scripted())
    house.tell()
    assert len(house.direct.hand_over()) == 1
    house.direct.remember([(house.notice, a_content())])
    assert house.direct.rescue() == 0
    assert house.direct.wait(SOON)
    assert house.tries() == [[0]]


def test_a_notice_that_the_outbox_got_rid_of_needs_no_stand_in():
    house = House(Scripted(), Scripted())
    house.direct.outbox_tried(delivery_id(house.notice.id, "email"), taken=True)
    house.tell()
    house.turn_at(61, 130)
    assert house.tries() == [[], []]


def test_a_stand_in_that_waits_is_left_once_the_outbox_got_the_notice_through():
    house = House(Scripted(), Scripted())
    first = delivery_id(house.notice.id, "email")
    assert house.direct.leave_to_outbox(first)
    house.tell()
    house.direct.outbox_tried(first, taken=True)
    house.turn_at(61, 130)
    assert house.tries() == [[], []]


@pytest.mark.promise(16)
def test_warnings_that_the_outbox_has_are_remembered_only_while_they_are_valid():
    house = House(Scripted())
    for minute in range(300):
        house.clock.set(NOW + timedelta(minutes=minute))
        notice = a_notice(DESK, minute, at=house.clock.now(), valid_for=timedelta(minutes=75))
        house.direct.remember([(notice, a_content())])
        house.direct.outbox_tried(delivery_id(notice.id, "email"), taken=minute % 2 == 0)
    assert len(house.direct._made) == 75
    # Of what arrived a little is remembered for longer, so that nothing goes out twice.
    assert len(house.direct._outbox_sent) == 150
    assert house.direct.rescue() == 38
    house.clock.set(NOW + timedelta(days=2))
    house.direct.remember([])
    assert not house.direct._made
    assert not house.direct._outbox_sent
