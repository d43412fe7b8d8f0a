"""A configuration that changes while the watch runs: what is recorded of it."""

import json
import sqlite3
from dataclasses import replace

import pytest

from tests.watch.little_watch import MINUTE, QUIET, START, STORM, config_text
from tests.watch.reloaded import OWNER, PEOPLE, PILOT, SECOND_AIRCRAFT, events, limit, running
from tests.watch.test_store_down import allow, refuse
from windwatch.clock import HandClock
from windwatch.episodes.books import Setup
from windwatch.record import configured, fleet_of
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.store.values import StoredSettings
from windwatch.watch import Watch
from windwatch.wiring import Parts, make_channels

# --- the record ------------------------------------------------------------------------


@pytest.mark.promise(4, 18)
def test_judging_the_recorded_events_anew_gives_the_same_notices(tmp_path):
    with running(tmp_path) as r:
        r.take("27015G20KT")
        for minutes, text in (
            (3, limit(18)),
            (7, limit(18) + SECOND_AIRCRAFT),
            (6, limit(60, config_text(people=PEOPLE + OWNER, airfields=("XLKS", "XBRN")))),
            (9, limit(22, config_text(people=PEOPLE + OWNER, airfields=("XBRN",)))),
        ):
            r.b.clock.move(minutes * MINUTE)
            r.write(text)
            r.look()
            r.b.clock.move(2 * MINUTE)
            r.take(STORM)
            r.take("27013G21KT", station="XBRN")
        expected = [n.notice.id for n in r.b.store.notices() if n.notice.kind != "operator"]
        recorded = r.b.store.events()
        assert [e.kind for e in recorded].count("config") == 5
        assert expected
        again = judged_anew(tmp_path, r)
    assert again == expected


def judged_anew(folder, r):
    """Play what is in the store, by the configurations that are in it."""
    store = r.b.store
    kept = iter(store.all_settings())
    clock = HandClock(START)
    again = []
    watch = None
    with open_store(folder / "again.db", clock, durable=False) as other:
        for event in store.events():
            clock.set(event.at)
            if event.kind == "config":
                fleet = fleet_of(next(kept))
                settings = replace(r.b.settings, fleet=fleet)
                parts = Parts(None, make_channels(settings))
                if watch is None:
                    watch = Watch(settings, other, None, parts.channels, clock)
                else:
                    assert watch.adopt(settings, parts, ())
            elif event.kind == "report":
                ids = [each["id"] for each in event.detail["reports"]]
                raws = [RawReport(k.raw, event.at, k.source) for k in store.reports(ids)]
                again += watch.take(raws).notices
            elif event.kind == "tick":
                again += watch.tick().notices
    return [notice.id for notice, _ in again]


@pytest.mark.promise(4)
def test_each_configuration_is_recorded_once_without_addresses_and_reads_back_the_same(root, r):
    first = r.watch.settings.fleet
    for _ in range(2):
        r.b.clock.move(MINUTE)
        r.take(QUIET)
    r.b.again()
    r.take(QUIET)
    assert [e.kind for e in r.b.store.events()].count("config") == 1, "not at every start"
    r.write(limit(24, config_text(people=PEOPLE + PILOT)))
    r.look()
    kept = r.b.store.all_settings()
    assert [fleet_of(each) for each in kept] == [first, r.watch.settings.fleet]
    assert "pilot@" not in str(kept[1].detail)
    last = [e for e in r.b.store.events() if e.kind == "config"][-1]
    assert last.detail == {
        "fingerprint": kept[1].fingerprint,
        "changed": ["aircraft X-XLKS changed", "contacts: 2 before, 3 now", "mail"],
    }
    # A fleet of every kind of limit, hours and notes.
    larkspur = read_settings([root / "config" / "larkspur.toml"], {}, require_secrets=False).fleet
    there = configured(larkspur, START)
    back = fleet_of(StoredSettings(there.fingerprint, START, json.loads(json.dumps(there.detail))))
    assert back == larkspur
    assert configured(back, START).fingerprint == there.fingerprint
    assert [Setup(back).fingerprints(a) for a in back.airfields] == [
        Setup(larkspur).fingerprints(a) for a in larkspur.airfields
    ]


@pytest.mark.promise(17, 18)
@pytest.mark.parametrize("when", ["before", "at the change"])
def test_while_the_store_cannot_be_written_the_old_configuration_goes_on(r, caplog, when):
    before = r.watch.settings
    r.write(limit(24))
    if when == "before":
        refuse(r.b.folder)
        r.take(STORM)
        assert r.watch.keeper.unwritten
    refuse_settings(r.b.folder)
    r.look()
    r.look()
    assert r.watch.settings is before
    assert len(events(caplog, "config_waits")) == 1
    with sqlite3.connect(r.b.folder / "watch.db") as raw:
        raw.execute("DROP TRIGGER no_settings")
    raw.close()
    if when == "before":
        allow(r.b.folder)
        r.watch.tick()
    r.look()
    assert r.watch.settings is not before
    assert len(events(caplog, "config_adopted")) == 1
    if when == "before":
        assert [name for name, _ in r.told("desk")] == ["opened"]


def refuse_settings(folder):
    with sqlite3.connect(folder / "watch.db") as raw:
        raw.execute(
            "CREATE TRIGGER no_settings BEFORE INSERT ON settings_seen "
            "BEGIN SELECT RAISE(ABORT, 'nothing can be written'); END"
        )
    raw.close()
