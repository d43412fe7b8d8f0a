"""One reading for all who look: read only, beside a watch, and anew for each change."""

import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.board.played import FRONT, MINUTE, Played, played
from windwatch.board import view
from windwatch.board.reading import READ_ANEW, Reading
from windwatch.errors import StoreError
from windwatch.store.glance import pulse
from windwatch.store.store import open_store

SECOND = timedelta(seconds=1)
NOON = datetime(2026, 9, 22, 12, 0, tzinfo=UTC)
FIRST = "METAR XLKS 221153Z 27006KT 10SM CLR 23/12 A2980"


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Played]:
    with played(tmp_path) as found:
        yield found


def rows(path: Path) -> list[str]:
    """Everything that a store keeps."""
    with closing(sqlite3.connect(path)) as store:
        return list(store.iterdump())


def test_looking_writes_nothing(day: Played, tmp_path: Path) -> None:
    day.play(FRONT)
    before = rows(tmp_path / "watch.db")
    snapshot = day.snapshot()
    field = view.field_page(snapshot, "XLKS", day.now)
    day.reading.episode(field.episodes[0].id)
    day.reading.notice(field.notices[0].id)
    day.reading.notices(day.now)
    # Later, too, when a fall-back would cover: the watch says so, not the board.
    day.reading.snapshot(day.now + timedelta(hours=3))
    assert rows(tmp_path / "watch.db") == before


def test_a_board_of_its_own_reads_beside_a_watch_that_leads(day: Played, tmp_path: Path) -> None:
    day.play(FRONT)
    with (
        day.store.hold("the watch"),
        open_store(tmp_path / "watch.db", day.clock, check=False) as other,
    ):
        beside = Reading(day.settings, other)
        assert beside.snapshot(day.now).version(day.now) == day.snapshot().version(day.now)
        day.take("SPECI XLKS 221915Z 30035G50KT 10SM CLR 20/15 A2978", FRONT + 5 * MINUTE)
        page = view.field_page(beside.snapshot(day.now), "XLKS", day.now)
        assert page.wind.short == "300/35G50 kt"


def test_what_has_not_changed_is_read_once(day: Played) -> None:
    day.play(FRONT)
    first = day.snapshot()
    assert day.snapshot(FRONT + SECOND) is first
    assert day.snapshot(FRONT + 2 * SECOND) is first


def test_the_watch_saying_that_it_works_reads_no_airfield_anew(day: Played) -> None:
    day.play(FRONT)
    first = day.snapshot()
    day.clock.set(FRONT + MINUTE)
    day.beat()
    second = day.snapshot()
    assert second is not first
    assert second.version(day.now) != first.version(FRONT)
    assert second.fields is first.fields
    day.clock.set(FRONT + READ_ANEW + MINUTE)
    day.beat()
    assert day.snapshot().fields is not first.fields


def test_every_change_changes_the_version(day: Played) -> None:
    day.play(FRONT)
    seen = [day.snapshot().version(FRONT)]

    def look(seconds: int) -> None:
        seen.append(day.reading.version(FRONT + seconds * SECOND))

    with day.store.transaction() as books:
        episode = day.store.episodes(open_only=True)[0].id
        books.acknowledge(episode, "operations desk", FRONT, "students are down")
    look(1)
    delivery = day.store.notices(limit=1)[0].deliveries[0]
    with day.store.writing() as connection:
        connection.exec_driver_sql(
            "update deliveries set state = 'dead' where id = ?", (delivery.id,)
        )
    look(2)
    day.clock.set(FRONT + 3 * SECOND)
    day.take("SPECI XLKS 221910Z 30030G40KT 10SM CLR 20/15 A2978")
    look(3)
    day.beat(state="stopped")
    look(4)
    assert len(set(seen)) == 5


def test_time_alone_changes_the_version_when_something_becomes_too_old(day: Played) -> None:
    day.take(FIRST, NOON)
    stale = datetime(2026, 9, 22, 13, 8, tzinfo=UTC)
    day.wait(stale - 2 * SECOND)
    before = day.reading.version(stale - 2 * SECOND)
    assert day.reading.version(stale - SECOND) == before
    assert day.reading.version(stale) != before


def test_a_fall_back_covers_from_the_moment_the_main_station_is_stale(day: Played) -> None:
    """The watch may look only a minute later; nobody who looks waits for that."""
    day.take(FIRST, NOON)
    day.take("METAR XBRN 221253Z 29022G33KT 10SM OVC045 15/10 A2990", NOON + 60 * MINUTE)
    stale = datetime(2026, 9, 22, 13, 8, tzinfo=UTC)
    day.clock.set(stale - SECOND)
    day.beat()
    used = [
        view.field_page(day.snapshot(at), "XLKS", at).station_in_use
        for at in (stale - SECOND, stale + SECOND)
    ]
    assert used == ["XLKS", "XBRN"]


def test_who_took_note_is_shown_until_reminders_begin_again(day: Played) -> None:
    day.play(FRONT)
    open_now = day.store.episodes(open_only=True)
    with day.store.transaction() as books:
        for episode in open_now:
            books.acknowledge(episode.id, "operations desk", FRONT, "students are down")
    page = view.field_page(day.snapshot(FRONT + SECOND), "XLKS", FRONT)
    noted = page.episodes[0].acknowledged
    assert noted is not None
    assert (noted.by, noted.note, noted.at.at) == ("operations desk", "students are down", FRONT)
    later = FRONT + day.settings.fleet.rules.acknowledged_for + SECOND
    page = view.field_page(day.snapshot(later), "XLKS", later)
    assert page.episodes[0].acknowledged is None


def test_a_dead_letter_is_shown_with_every_try(day: Played) -> None:
    day.play(FRONT)
    delivery = day.store.notices(contact="owner of X-WREN")[-1].deliveries[0]
    with day.store.writing() as connection:
        connection.exec_driver_sql(
            "update deliveries set state = 'refused', last_answer = ? where id = ?",
            ("550 no such mailbox <script>", delivery.id),
        )
    at = FRONT + SECOND
    snapshot = day.snapshot(at)
    listed = view.notices_page(snapshot, day.reading.notices(at), at)
    assert listed.dead == 1
    card = next(each for each in listed.notices if each.failed)
    assert card.deliveries[0].words == "not delivered: refused after 1 try"
    assert card.deliveries[0].answer == "550 no such mailbox <script>"
    assert view.field_page(snapshot, "XLKS", at).notices[0].contact
    page = view.notice_page(snapshot, day.reading.notice(card.id), at)
    assert page.notice.failed
    assert [each.number for each in page.notice.deliveries[0].attempts] == [1]
    assert page.steps
    assert {each.id for each in page.episodes} == {
        step.episode for step in day.reading.notice(card.id).read.notice.steps
    }
    overview = view.overview(snapshot, at)
    assert overview.cards[0].failed_notices == 1


def test_what_is_not_there_is_a_key_error(day: Played) -> None:
    with pytest.raises(KeyError):
        day.reading.episode("nothing")
    with pytest.raises(KeyError):
        day.reading.notice("nothing")


def test_a_store_that_fails_leaves_what_it_said_last_and_says_so(day: Played) -> None:
    day.play(FRONT)
    before = day.snapshot()
    with day.store.writing() as connection:
        connection.exec_driver_sql("alter table events rename to elsewhere")
    found = day.snapshot(FRONT + SECOND)
    assert found.store_problem
    assert found.fields is before.fields
    assert found.version(FRONT) != before.version(FRONT)
    with day.store.writing() as connection:
        connection.exec_driver_sql("alter table elsewhere rename to events")
    assert not day.snapshot(FRONT + 2 * SECOND).store_problem


def test_a_store_that_never_answered_is_an_error(day: Played) -> None:
    with day.store.writing() as connection:
        connection.exec_driver_sql("alter table events rename to elsewhere")
    with pytest.raises(StoreError):
        day.snapshot()


def test_another_configuration_than_that_of_the_watch_is_told(day: Played) -> None:
    day.play(FRONT)
    assert not day.snapshot().other_settings
    fleet = day.settings.fleet
    fewer = replace(day.settings, fleet=replace(fleet, aircraft=fleet.aircraft[:1]))
    page = view.field_page(Reading(fewer, day.store).snapshot(FRONT), "XLKS", FRONT)
    assert "config" in {banner.kind for banner in page.frame.banners}


def test_all_who_ask_at_once_get_the_same(day: Played) -> None:
    day.play(FRONT)
    reading = Reading(day.settings, day.store)
    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(lambda _: reading.snapshot(FRONT), range(40)))
    assert {id(each) for each in found} == {id(found[0])}


def test_the_state_of_the_watch_may_be_no_state_at_all(day: Played, tmp_path: Path) -> None:
    day.play(FRONT)
    (tmp_path / "watch.db.health.json").write_text("{}", encoding="utf-8")
    page = view.field_page(day.snapshot(FRONT + SECOND), "XLKS", FRONT + SECOND)
    assert not page.frame.watch.runs
    assert not page.wind_known


def test_the_pulse_is_steady_while_nothing_changes(day: Played) -> None:
    day.play(FRONT)
    assert pulse(day.store) == pulse(day.store)


def test_an_episode_has_its_steps_notices_and_who_took_note(day: Played) -> None:
    day.play(FRONT)
    stored = next(e for e in day.store.episodes(open_only=True) if "tie_down/" in f"{e.track}/")
    with day.store.transaction() as books:
        books.acknowledge(stored.id, "owner", FRONT, "on the way")
    page = view.episode_page(day.snapshot(FRONT + SECOND), day.reading.episode(stored.id), FRONT)
    assert page.can_acknowledge
    assert page.acknowledged_for == "6 hours"
    assert page.steps[0].name == "opened"
    assert page.steps[0].rule == "one report over the limit is enough"
    assert page.steps[0].reports[0].raw.startswith("METAR XLKS ")
    assert page.worst is not None
    assert page.worst.words == "41 kt > 22 kt"
    assert {each.contact for each in page.notices} >= {"operations desk"}
    assert [(each.by, each.note) for each in page.acknowledgements] == [("owner", "on the way")]
