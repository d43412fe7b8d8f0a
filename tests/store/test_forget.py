"""Who is forgotten leaves no trace; what the wind did stays."""

import json
import sqlite3
from contextlib import closing
from dataclasses import fields, is_dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import event

from tests.servers.samples import GUST_FRONT, TIE_DOWN, a_content, a_notice, a_step
from tests.store.samples import open_episode
from windwatch.episodes.silence import Silence
from windwatch.episodes.state import Acknowledgement, AirfieldState, ContactState
from windwatch.episodes.told import Told
from windwatch.errors import StoreError
from windwatch.notices.outbox import DeliveryState, Outcome, Route
from windwatch.store import sqlite
from windwatch.store.codec import from_json, to_json
from windwatch.store.forget import FORGOTTEN, PEOPLE, without
from windwatch.store.store import open_database, open_store

NOW = GUST_FRONT
NAME = 'Vesna Quillfeather "night"'
ADDRESS = "vesna@quillfeather.example"
ANSWER = f"550 5.1.1 <{ADDRESS}> nobody here"


def fill(store):
    """One of everything that can hold a person's name or address."""
    step = a_step()
    with store.transaction() as books:
        books.save_steps([step])
        open_episode(books)
        books.enqueue(a_notice(NAME, 1, steps=(step,)), a_content(f"for {NAME}"), ["email"])
        books.enqueue(a_notice(NAME, 2), a_content(f"to {ADDRESS}"), ["email", "webhook"])
        books.enqueue(
            a_notice("instructor", 3, steps=(step,)), a_content(f"{NAME} took note"), ["email"]
        )
        books.acknowledge("episode-1", NAME, NOW, f"call me at {ADDRESS}")
        books.acknowledge("episode-1", "instructor", NOW, "seen")
        books.save_event("acknowledge", NOW, {"episodes": ["episode-1"], "by": NAME})
        books.save_airfield_state("XLKS", json.dumps({"known_contacts": [NAME, "b"]}), NOW)
        books.save_settings("f1", NOW, {"contacts": [NAME]})
    claimed = store.claim_due(NOW, 10, timedelta(minutes=1))
    refused = Outcome(DeliveryState.REFUSED, ANSWER)
    accepted = Outcome(DeliveryState.ACCEPTED, "250 taken")
    store.finish([(d, refused if d.contact == NAME else accepted) for d in claimed], NOW)
    store.turn_off(Route(NAME, "webhook"), "fingerprint", ANSWER, NOW)


def test_what_was_sent_to_them_goes_and_what_the_wind_did_stays(store):
    fill(store)
    assert store.forget(NAME) == 2
    assert [n.notice.contact for n in store.notices()] == ["instructor"]
    assert store.notices()[0].content.subject == f"{FORGOTTEN} took note"
    assert store.untold("instructor", [a_step().id]) == ()
    assert store.steps("episode-1") == (a_step(),)
    assert [e.id for e in store.episodes()] == ["episode-1"]
    by = [(a.by, a.note) for a in store.acknowledgements()]
    assert by == [(FORGOTTEN, ""), ("instructor", "seen")]
    assert store.events()[0].detail == {"episodes": ["episode-1"], "by": FORGOTTEN}
    assert json.loads(store.load_airfield_states()["XLKS"]) == {"known_contacts": [FORGOTTEN, "b"]}
    assert not store.turned_off(Route(NAME, "webhook"), "fingerprint")
    assert store.check().problems == ()


def test_no_trace_is_left_in_the_file_or_beside_it(tmp_path, clock):
    path = tmp_path / "watch.db"
    with open_store(path, clock) as store:
        store.close()

        @event.listens_for(store._engine, "connect")
        def leave_traces(raw, _):
            # As most builds of SQLite do by themselves.
            raw.execute("PRAGMA secure_delete = OFF")

        fill(store)
        # Written over, a name would stay in what SQLite has freed.
        for number in range(30):
            with store.transaction() as books:
                state = {"known_contacts": [NAME], "pad": "x" * 200 * number}
                books.save_airfield_state("XBRN", json.dumps(state), NOW)
        with store.transaction() as books:
            books.save_airfield_state("XBRN", "{}", NOW)
        traces = ("Quillfeather", ADDRESS)
        assert all(trace.encode() in path.read_bytes() for trace in traces)
        store.forget(NAME)
        for file in tmp_path.iterdir():
            found = file.read_bytes().lower()
            assert not [t for t in traces if t.lower().encode() in found], file.name
    # Nor does closing bring one back.
    assert b"quillfeather" not in path.read_bytes().lower()


def test_where_somebody_reads_the_file_meanwhile_it_is_said_that_traces_may_be_left(
    tmp_path, clock, monkeypatch
):
    monkeypatch.setattr(sqlite, "BUSY_TIMEOUT_S", 0.1)
    path = tmp_path / "watch.db"
    with open_store(path, clock) as store, closing(sqlite3.connect(path)) as reader:
        fill(store)
        vacuum = sqlite.vacuum

        def while_somebody_reads(*args):
            reader.execute("BEGIN")
            reader.execute("SELECT count(*) FROM steps").fetchall()
            vacuum(*args)

        monkeypatch.setattr(sqlite, "vacuum", while_somebody_reads)
        with pytest.raises(StoreError, match="traces may be left") as met:
            store.forget(NAME)
        assert met.value.kind == "busy"
        assert len(store.notices()) == 1
        reader.rollback()
        monkeypatch.setattr(sqlite, "vacuum", vacuum)
        assert store.forget(NAME) == 0
    assert b"Quillfeather" not in path.read_bytes()


def test_no_trace_is_left_in_the_servers_tables(postgres, clock, database):
    with open_database(database, None, clock) as store:
        fill(store)
        store.forget(NAME)
        with store.reading() as connection:
            tables = connection.exec_driver_sql(
                "SELECT c.oid::regclass::text, pg_relation_filepath(c.oid) FROM pg_class c"
                " JOIN pg_namespace n ON n.oid = c.relnamespace"
                " WHERE n.nspname IN ('public', 'pg_toast') AND c.relkind IN ('r', 't', 'i')"
            ).all()
        postgres.run("CHECKPOINT")
    folder = postgres.run("SHOW data_directory")[0][0]
    looked_at = 0
    for name, file in tables:
        if file is None:
            continue
        content = (Path(folder) / file).read_bytes().lower()
        looked_at += len(content)
        assert b"quillfeather" not in content, name
    assert looked_at > 100_000


def test_forgetting_twice_and_forgetting_nobody_change_nothing(store):
    fill(store)
    store.forget(NAME)
    before = store.notices(), store.acknowledgements(), store.events()
    assert store.forget(NAME) == 0
    assert store.forget("nobody") == 0
    assert (store.notices(), store.acknowledgements(), store.events()) == before


def test_two_who_took_note_at_one_moment_may_both_be_forgotten(store):
    with store.transaction() as books:
        books.acknowledge("episode-1", "one", NOW)
        books.acknowledge("episode-1", "other", NOW)
    store.forget("one")
    store.forget("other")
    assert [a.by for a in store.acknowledgements()] == [FORGOTTEN]


def test_what_is_on_its_way_to_others_is_not_touched(store):
    with store.transaction() as books:
        books.enqueue(a_notice("owner"), a_content("X-WREN: secure it now"), ["email"])
    store.forget("X-WREN")
    (due,) = store.claim_due(NOW, 10, timedelta(minutes=1))
    assert due.content.subject == "X-WREN: secure it now"


@pytest.mark.parametrize("name", ["operations desk", "X-WREN"])
def test_a_state_without_the_name_is_a_state_still(name):
    """An aircraft may be called like its owner; what is remembered of it must stay."""
    state = AirfieldState(
        airfield="XLKS",
        started_at=NOW,
        contacts=(ContactState(name, NOW), ContactState("instructor")),
        acknowledged=(Acknowledgement("episode-1", name, NOW),),
        known_contacts=(name, "instructor"),
        judged_from=((str(TIE_DOWN), NOW),),
    )
    found = from_json(
        json.dumps(without(json.loads(to_json(state, AirfieldState)), name)), AirfieldState
    )
    assert found.known_contacts == (FORGOTTEN, "instructor")
    assert found.contacts[0].contact == FORGOTTEN
    assert found.acknowledged[0].by == FORGOTTEN
    assert found.judged_from == state.judged_from


def test_every_field_that_names_people_in_a_state_is_known():
    """Whoever adds one must add its name in `forget.PEOPLE`."""
    names = set()
    for kind in (AirfieldState, ContactState, Acknowledgement, Silence, Told):
        found = [f.name for f in fields(kind)] if is_dataclass(kind) else list(kind._fields)
        names |= set(found)
    about_people = {"contacts", "known_contacts", "contact", "by", "told", "first_notices"}
    assert about_people <= names
    assert about_people <= PEOPLE
