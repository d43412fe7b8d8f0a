"""When what stands in a lane has become old."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.delivery.lanes import needs_one_notice
from windwatch.notices.outbox import Backlog, DeliveryState, Lane, new_delivery

NOW = GUST_FRONT
LANE = Lane("owner of X-WREN", "email", "XLKS")


def standing(number, state=DeliveryState.QUEUED, valid_for=timedelta(hours=1)):
    notice = a_notice(number=number, valid_for=valid_for)
    return replace(new_delivery(notice, a_content(), "email"), state=state)


def numbers(backlog, at=NOW):
    known = {a_notice(number=n).id: n for n in range(5)}
    return [known[notice.id] for notice in needs_one_notice(backlog, at)]


@pytest.mark.parametrize(
    ("unreached", "waiting", "old"),
    [
        ((), (), []),
        ((standing(1, DeliveryState.REFUSED),), (), []),
        ((), (standing(1),), []),
        ((), (standing(1), standing(2)), []),
        ((), (standing(1, DeliveryState.WAITING),), []),
        ((), (standing(1, DeliveryState.WAITING), standing(2)), [1, 2]),
        ((), (standing(1, valid_for=timedelta(0)),), [1]),
        ((), (standing(1), standing(2, valid_for=timedelta(0))), [1, 2]),
        ((standing(1, DeliveryState.REFUSED),), (standing(2),), [1, 2]),
    ],
    ids=[
        "nothing stands there",
        "a refusal alone calls for nothing",
        "one not yet tried goes as it is",
        "two not yet tried go in their order",
        "one that was tried is tried again",
        "a newer one takes the place of one that was tried",
        "one that expired",
        "one that expired behind another",
        "the end of what did not arrive",
    ],
)
def test_what_one_notice_replaces(unreached, waiting, old):
    assert numbers(Backlog(LANE, unreached, waiting)) == old


def test_a_notice_is_valid_until_the_very_moment():
    backlog = Backlog(LANE, (), (standing(1),))
    assert numbers(backlog, NOW + timedelta(hours=1) - timedelta(microseconds=1)) == []
    assert numbers(backlog, NOW + timedelta(hours=1)) == [1]
