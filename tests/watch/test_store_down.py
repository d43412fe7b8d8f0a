"""The store cannot be written: people are warned all the same, and nothing is called off.

Promise 17; faults F40 (full), F41 (read-only, or gone).
"""

import sqlite3
import threading
from datetime import timedelta
from email import message_from_bytes
from email.policy import default

import pytest

from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, bench, config_text, ids, said
from tests.watch.test_schedule import Storm
from windwatch.clock import HandClock, SystemClock
from windwatch.errors import LeadLost, StoreError
from windwatch.record import keep
from windwatch.schedule import run
from windwatch.upkeep.showing import Outward
from windwatch.watch import Watch
from windwatch.wiring import make_channels

WORSE = "27035G60KT"
SOON = timedelta(seconds=5)
PEOPLE = (
    '\n[[contact]]\nname = "desk"\n'
    'webhook = { url = "URL", allow_http = true, secret_env = "HOOK_SECRET" }\n'
    '\n[[contact]]\nname = "technician"\nfolder = "dropped"\noperator = true\n'
    'tell_about = { ground = false, thunder = false, runways = "none" }\n'
)
RIM = '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'


def refuse(folder):
    """Have the store refuse every new row, as a full disk does."""
    with sqlite3.connect(folder / "watch.db") as raw:
        for table in ("airfield_states", "notices", "meta"):
            raw.execute(
                f"CREATE TRIGGER no_{table} BEFORE INSERT ON {table} "
                "BEGIN SELECT RAISE(ABORT, 'nothing can be written'); END"
            )
    raw.close()


def allow(folder):
    with sqlite3.connect(folder / "watch.db") as raw:
        for table in ("airfield_states", "notices", "meta"):
            raw.execute(f"DROP TRIGGER no_{table}")
    raw.close()


@pytest.fixture
def down(tmp_path):
    """A desk with a webhook, an operator with a folder, and a store that refuses everything new."""
    with WebhookReceiver(check_time=False) as hook:
        text = config_text(people=PEOPLE.replace("URL", hook.url), rim=RIM)
        with bench(tmp_path, text, HOOK_SECRET=SECRET) as b:
            b.take(QUIET)
            refuse(tmp_path)
            b.clock.move(MINUTE)
            yield b, hook


def landed(b):
    assert b.watch.keeper.direct.wait(SOON)


def back_again(b):
    allow(b.folder)
    b.clock.move(MINUTE)
    return b.watch.tick()


def mails(folder):
    found = [
        message_from_bytes(p.read_bytes(), policy=default)
        for p in sorted((folder / "dropped").glob("*.eml"))
    ]
    return [(str(m["Subject"]), m.get_body(("plain",)).get_content()) for m in found]


def told(hook):
    return [
        (step["step"], call.payload["id"])
        for call in hook.received
        for step in call.payload["steps"]
    ]


@pytest.mark.promise(17)
def test_a_crossing_is_told_directly_with_the_id_it_would_have_and_not_again(tmp_path, down):
    (tmp_path / "control").mkdir()
    with bench(tmp_path / "control", config_text(), HandClock(START)) as control:
        control.take(QUIET)
        control.clock.move(MINUTE)
        [undisturbed] = ids(control.take(STORM))
    b, hook = down
    report = b.take(STORM)
    landed(b)
    assert report.notices == [], "nothing of it is true yet"
    assert report.failed
    assert told(hook) == [("opened", undisturbed)]
    assert b.store.notices() == ()

    again = back_again(b)
    assert ids(again) == [undisturbed]
    assert b.watch.deliver().accepted >= 1
    assert len(hook.calls) == 1, "the outbox does not send it again"
    [kept] = [n for n in b.store.notices() if n.notice.airfield == "XLKS"]
    [delivery] = kept.deliveries
    assert delivery.state.value == "accepted"
    assert "taken directly" in delivery.last_answer


@pytest.mark.promise(17)
def test_what_gets_worse_is_told_and_what_gets_better_waits_for_the_store(down):
    b, hook = down
    b.take(STORM)
    landed(b)
    b.clock.move(10 * MINUTE)
    b.take(WORSE)
    landed(b)
    assert [step for step, _ in told(hook)] == ["opened", "worsened"]
    for _ in range(8):
        b.clock.move(20 * MINUTE)
        b.take("00000KT")
        landed(b)
    assert [step for step, _ in told(hook)] == ["opened", "worsened"], "nothing is called off"
    again = back_again(b)
    steps = [step for who, step in said(again) if who == "desk"]
    assert steps == ["opened", "worsened", "back"], "written first; then what had to wait"
    b.watch.deliver()
    assert [step for step, _ in told(hook)] == ["opened", "worsened", "back"]
    assert len(hook.calls) == 3
    [episode] = b.store.episodes()
    assert episode.closing == "back"


def test_an_end_in_the_very_report_that_could_not_be_stored_is_not_told(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(STORM)
        b.watch.deliver()
        b.clock.move(61 * MINUTE)
        b.take("00000KT")
        refuse(tmp_path)
        b.clock.move(20 * MINUTE)
        assert b.take("00000KT").failed
        landed(b)
        assert len(mails(tmp_path)) == 1
        again = back_again(b)
        assert again.failed == []
        b.clock.move(MINUTE)
        assert [*said(again), *said(b.watch.tick())] == [("desk", "back")]


def test_a_feed_that_falls_silent_is_told_directly(down):
    b, hook = down
    b.take(STORM)
    landed(b)
    b.at(START + MINUTE + b.settings.fleet.airfields[0].stale_after)
    b.watch.tick()
    landed(b)
    assert {step for step, _ in told(hook)} == {"opened", "no_data"}


def test_a_receiver_that_fails_is_tried_again_until_it_takes_it_once(down):
    b, hook = down
    hook.script(500, 500)
    b.take(STORM)
    landed(b)
    for _ in range(4):
        b.clock.move(MINUTE)
        b.watch.tick()
        landed(b)
    assert len(hook.calls) == 3
    assert len(hook.received) == 1


def test_the_operator_is_told_once_that_the_record_is_incomplete_and_once_that_it_is_over(down):
    b, _ = down
    b.take(STORM)
    for _ in range(5):
        landed(b)
        b.clock.move(MINUTE)
        b.watch.tick()
    landed(b)
    [(subject, text)] = mails(b.folder)
    assert "The store cannot be written, and the record is incomplete" in subject
    assert "Nothing is called back within limits" in " ".join(text.split())
    back_again(b)
    b.watch.deliver()
    [_, (subject, _)] = mails(b.folder)
    assert "Over: the store cannot be written" in subject


def test_a_death_in_that_state_repeats_with_the_same_ids_at_most(down):
    b, hook = down
    b.take(STORM)
    landed(b)
    b.again()
    b.take(STORM)
    landed(b)
    assert len(hook.received) == 2
    assert len({call.payload["id"] for call in hook.received}) == 1


@pytest.mark.fault("F41")
@pytest.mark.promise(17)
def test_f41_a_store_that_is_deleted_while_it_runs_is_no_reason_to_be_silent(tmp_path):
    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)
        for path in tmp_path.glob("watch.db*"):
            path.unlink()
        b.clock.move(MINUTE)
        report = b.take(STORM)
        landed(b)
        assert report.failed
        assert any("X-XLKS 41 kt" in text for _, text in mails(tmp_path))


def test_another_watcher_that_took_over_is_no_reason_to_warn_past_it(tmp_path, monkeypatch):
    with bench(tmp_path, config_text()) as b:
        b.take(QUIET)

        def lost(*_):
            raise LeadLost("another watcher leads")

        monkeypatch.setattr("windwatch.watch.keep", lost)
        b.clock.move(MINUTE)
        assert b.take(STORM).failed
        landed(b)
        assert mails(tmp_path) == []


@pytest.mark.fault("F40", "F41")
@pytest.mark.parametrize(
    ("kind", "gives_up"),
    [("read-only", True), ("gone", True), ("damaged", True), ("full", False), ("busy", False)],
)
def test_f40_f41_after_five_minutes_it_gives_up_unless_room_may_come_by_itself(
    tmp_path, kind, gives_up
):
    with bench(tmp_path, config_text()) as b:
        keeper = b.watch.keeper
        keeper.still_unwritten(StoreError("watch.db cannot be written", kind))
        b.clock.move(timedelta(seconds=299))
        assert keeper.gave_up == ""
        b.clock.move(timedelta(seconds=1))
        assert bool(keeper.gave_up) is gives_up
        keeper.written()
        assert keeper.gave_up == ""


@pytest.mark.fault("F41")
def test_f41_by_the_clock_it_warns_and_then_ends_with_the_reason(tmp_path):
    clock = SystemClock()
    with bench(tmp_path, config_text(), clock) as b:
        outward = Outward(store_patience=timedelta(0))
        watch = Watch(
            b.settings, b.store, Storm(clock), make_channels(b.settings), clock, outward=outward
        )
        refuse(tmp_path)
        with pytest.raises(StoreError, match=r"nothing can be written; the watch ends"):
            run(watch, timedelta(minutes=1), clock, threading.Event())
        assert watch.keeper.direct.wait(SOON)
        assert len(mails(tmp_path)) == 1
        assert [t.name for t in threading.enumerate() if t.name == "courier"] == []


@pytest.fixture
def waiting(tmp_path):
    """A watch whose store has just refused one change, which waits to be written."""
    text = config_text(people=PEOPLE.replace("URL", "http://127.0.0.1:9/nobody"), rim=RIM)
    with bench(tmp_path, text, HOOK_SECRET=SECRET) as b:
        b.take(QUIET)
        refuse(tmp_path)
        b.clock.move(MINUTE)
        b.take("24025KT")
        assert b.watch.keeper.unwritten
        allow(tmp_path)
        yield b


def test_a_crossing_right_after_a_refused_write_is_not_written_over_by_what_waited(
    waiting, monkeypatch
):
    b = waiting
    b.clock.move(MINUTE)
    answers = iter([StoreError("the disk is full", "full")])

    def full_once(*args):
        for error in answers:
            raise error
        keep(*args)

    # What waits is refused once more; the very next write, of the crossing, succeeds.
    monkeypatch.setattr("windwatch.watch.keep", full_once)
    b.take(STORM)
    monkeypatch.undo()
    assert not b.watch.keeper.unwritten
    b.clock.move(MINUTE)
    b.watch.tick()
    [books] = b.watch.books.values()
    still_open = {told.track.name for told in books.state.ledger if told.open}
    assert any(name.startswith("tie_down") for name in still_open)
    again = Watch(b.settings, b.store, None, make_channels(b.settings), b.clock)
    assert [each.state.ledger for each in again.books.values()] == [books.state.ledger]


@pytest.mark.promise(12)
@pytest.mark.promise(17)
def test_what_left_past_an_outbox_that_could_not_be_read_is_the_outboxs_own_again(tmp_path):
    with WebhookReceiver(check_time=False) as hook:
        hook.script(503, 503)
        text = config_text(people=PEOPLE.replace("URL", hook.url), rim=RIM)
        with bench(tmp_path, text, HOOK_SECRET=SECRET) as b:
            b.take(STORM)
            for tries in (1, 2):
                b.watch.keeper.could_not_deliver(StoreError("the disk failed"))
                landed(b)
                assert len(hook.calls) == tries, "also when it fails a second time"
                b.watch.keeper.written()
                b.clock.move(MINUTE)
                b.watch.keeper.direct.turn()
                landed(b)
                assert len(hook.calls) == tries, "whatever becomes of it, the outbox knows"


# --- what cannot be written for a reason of its own ----------------------------------

FIELDS = ("XLKS", "XBRN", "XCRW")


@pytest.fixture
def three_wait(tmp_path):
    """Storms at three airfields, told, that wait for a store which is just back."""
    people = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'
    with bench(tmp_path, config_text(people=people, airfields=FIELDS)) as b:
        refuse(tmp_path)
        for name in FIELDS:
            b.take(STORM, station=name)
        landed(b)
        assert len(mails(tmp_path)) == 3
        allow(tmp_path)
        b.clock.move(MINUTE)
        yield b


def airfield_of(change):
    return change.outcome.books.state.airfield


@pytest.mark.promise(17)
def test_one_change_that_no_store_takes_is_set_aside_and_the_others_are_written(
    three_wait, monkeypatch, caplog
):
    b = three_wait

    def bad_one(store, changes, *others):
        if any(airfield_of(change) == "XBRN" for change in changes):
            raise ValueError("a figure that no column takes")
        keep(store, changes, *others)

    monkeypatch.setattr("windwatch.watch.keep", bad_one)
    report = b.watch.tick()
    assert sorted({notice.airfield for notice, _ in report.notices}) == ["XCRW", "XLKS"]
    assert [each.partition(":")[0] for each in report.failed] == ["XBRN"]
    assert "airfield_failed" in caplog.text
    [event] = [event for event in b.store.events() if event.kind == "not recorded"]
    assert event.detail["airfield"] == "XBRN"
    assert event.detail["error"] == "ValueError"
    assert not b.watch.keeper.unwritten
    # The watch goes on, there as well.
    monkeypatch.undo()
    b.clock.move(MINUTE)
    assert b.watch.tick().failed == []
    assert ("desk", "opened") in said(b.take(STORM, station="XBRN"))
    assert {e.airfield for e in b.store.episodes(open_only=True)} == set(FIELDS)
    b.watch.deliver()
    assert len(mails(b.folder)) == 3 + 1, "the outbox sends none of the first three again"


@pytest.mark.promise(17)
def test_a_driver_that_fails_in_its_own_way_costs_no_record(three_wait, monkeypatch):
    b = three_wait

    def broken(*_):
        raise RuntimeError("the driver lost its way")

    with monkeypatch.context() as patch:
        patch.setattr("windwatch.watch.keep", broken)
        patch.setattr(type(b.store), "transaction", broken)
        for _ in range(3):
            report = b.watch.tick()
            assert report.failed
            assert report.notices == []
            b.clock.move(MINUTE)
    assert b.watch.keeper.unwritten
    assert sorted(n.airfield for n, _ in b.watch.tick().notices) == sorted(FIELDS)
    assert not b.watch.keeper.unwritten
    assert [e for e in b.store.events() if e.kind == "not recorded"] == []


@pytest.mark.promise(17)
def test_what_was_written_before_the_store_failed_again_does_not_wait_any_more(
    three_wait, monkeypatch
):
    b = three_wait

    def fails_again(store, changes, *others):
        if len(changes) > 1:
            raise ValueError("of one of them")
        if airfield_of(changes[0]) == "XCRW":
            raise StoreError("the disk is full", "full")
        keep(store, changes, *others)

    monkeypatch.setattr("windwatch.watch.keep", fails_again)
    b.watch.tick()
    assert [airfield_of(change) for change in b.watch.keeper.unwritten.changes()] == ["XCRW"]
    assert {e.airfield for e in b.store.episodes(open_only=True)} == {"XLKS", "XBRN"}
    monkeypatch.undo()
    b.clock.move(MINUTE)
    b.watch.tick()
    assert {e.airfield for e in b.store.episodes(open_only=True)} == set(FIELDS)
    assert not b.watch.keeper.unwritten
