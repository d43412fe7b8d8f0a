"""Pictures in the store: kept once, named by each notice, gone with the last that names them."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import func, select, update

from tests.delivery.pictures_shown import a_card, a_field
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.notices.outbox import DeliveryState, Outcome
from windwatch.store.tables import NOTICE_PICTURES, PICTURES

NOW = GUST_FRONT
MINUTE = timedelta(minutes=1)
DRAWN = replace(a_content(), pictures=(a_field(), a_card()))
OTHERS = replace(a_content(), pictures=(a_card("apron to hold 1"), a_card()))


def counted(store, table):
    with store.reading() as connection:
        return connection.execute(select(func.count()).select_from(table)).scalar_one()


def tell(store, *contents, at=NOW, number=1):
    notices = [a_notice(f"contact {n}", number, at=at) for n, _ in enumerate(contents)]
    with store.transaction() as books:
        for notice, content in zip(notices, contents, strict=True):
            books.enqueue(notice, content, ["email"])
    return notices


def test_a_notice_gets_its_pictures_back_in_order(store):
    first, second, third = tell(store, DRAWN, OTHERS, a_content())
    assert store.notice(first.id).content == DRAWN
    assert store.notice(second.id).content == OTHERS
    assert store.notice(third.id).content == a_content()
    assert [kept.content for kept in store.notices()] == [DRAWN, OTHERS, a_content()]


def test_a_delivery_that_is_taken_has_them(store):
    tell(store, DRAWN, a_content())
    taken = store.claim_due(NOW, 10, MINUTE)
    assert [delivery.content for delivery in taken] == [DRAWN, a_content()]


def test_what_many_are_sent_is_kept_once_and_read_once(store):
    tell(store, *[DRAWN] * 30)
    assert counted(store, PICTURES) == 2
    assert counted(store, NOTICE_PICTURES) == 60
    taken = store.claim_due(NOW, 30, MINUTE)
    assert len({id(delivery.content.pictures[0]) for delivery in taken}) == 1


def test_a_second_time_names_nothing_anew(store):
    tell(store, DRAWN)
    tell(store, DRAWN)
    assert (counted(store, PICTURES), counted(store, NOTICE_PICTURES)) == (2, 2)


def test_a_picture_that_cannot_be_read_back_costs_itself_alone(store, caplog):
    [notice] = tell(store, DRAWN)
    with store.writing() as connection:
        lost = PICTURES.c.id == a_field().id
        connection.execute(update(PICTURES).where(lost).values(picture="{}"))
    assert store.notice(notice.id).content == replace(DRAWN, pictures=(a_card(),))
    assert [each.message for each in caplog.records] == ["picture_unreadable"]


def test_housekeeping_drops_a_picture_with_the_last_notice_that_names_it(store):
    old, young = NOW - timedelta(days=200), NOW
    tell(store, DRAWN, at=old)
    for delivery in store.claim_due(old, 10, MINUTE):
        store.finish([(delivery, Outcome(DeliveryState.ACCEPTED, "250 ok"))], old)
    tell(store, OTHERS, at=young, number=2)
    tidied = store.tidy(NOW)
    assert (tidied.dropped["notices"], tidied.dropped["pictures"]) == (1, 1)
    assert tidied.dropped["notice_pictures"] == 2
    [kept] = store.notices()
    assert kept.content == OTHERS, "what the young one shares with the old one stays"


def test_who_is_forgotten_takes_along_the_pictures_that_nobody_else_was_sent(store):
    tell(store, DRAWN, OTHERS)
    assert counted(store, PICTURES) == 3
    store.forget("contact 0")
    assert counted(store, NOTICE_PICTURES) == 2
    assert [kept.content for kept in store.notices()] == [OTHERS]
    assert counted(store, PICTURES) == 2


@pytest.mark.parametrize("contents", [(DRAWN,), (a_content(),)], ids=["with", "without"])
def test_the_words_are_kept_without_their_pictures(store, contents):
    tell(store, *contents)
    with store.reading() as connection:
        [text] = connection.exec_driver_sql("SELECT content FROM notices").scalars()
    assert "Larkspur" not in text
    assert len(text) < 500
