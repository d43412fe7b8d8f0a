"""A configuration that changes while the watch runs: promise 18, faults F50 to F53."""

import json
import logging
import sqlite3
import threading
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import timedelta

import pytest

from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, START, STORM, Bench, bench, config_text, said
from tests.watch.test_store_down import allow, refuse
from windwatch.clock import HandClock
from windwatch.episodes.books import Setup
from windwatch.feeds.values import FetchResult
from windwatch.logs import JsonLines
from windwatch.record import configured, fleet_of
from windwatch.reload import LOOK_EVERY_S, QUIET_S, Reload
from windwatch.reports.raw import RawReport
from windwatch.schedule import _Polls
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store
from windwatch.store.values import StoredSettings
from windwatch.upkeep import health
from windwatch.upkeep.watchdog import Watchdog, limits
from windwatch.watch import Watch
from windwatch.wiring import Parts, make_channels, make_outward, status_path

DESK = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'
OWNER = '\n[[contact]]\nname = "owner"\nfolder = "owner"\n'
PILOT = '\n[[contact]]\nname = "pilot"\nemail = "pilot@larkspur.example"\n'
PILOT += '[mail]\nhost = "mail.example"\nsender = "wind@larkspur.example"\n'
TECHNICIAN = (
    '\n[[contact]]\nname = "technician"\nfolder = "technician"\noperator = true\n'
    'tell_about = { ground = false, thunder = false, runways = "none" }\n'
)
PEOPLE = DESK + TECHNICIAN
USUAL = config_text(people=PEOPLE)
TWO_FIELDS = config_text(people=PEOPLE, airfields=("XLKS", "XBRN"))
SECOND_AIRCRAFT = (
    '\n[[aircraft]]\nname = "X-SECOND"\ngear = "nosewheel"\nwing = "low"\nbased_at = "XLKS"\n'
    "limits = { tie_down_kt = 30 }\n"
)


@dataclass
class Feed:
    """Has no report, and remembers what it was asked."""

    asked: list = field(default_factory=list)
    closed: bool = False

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.asked.append((stations, fresh))
        return FetchResult((), (), stations, server_date=now)

    def close(self):
        self.closed = True


class Running:
    """A watch, the files of its configuration, and who looks after them."""

    def __init__(self, b: Bench, environ):
        self.b = b
        self.environ = environ
        self.feed = Feed()
        self.path = b.folder / "watch.toml"
        self.parts = Parts(self.feed, make_channels(b.settings), make_outward(b.settings))
        self.watch = b.watch = Watch(
            b.settings, b.store, self.feed, self.parts.channels, b.clock, outward=self.parts.outward
        )
        self.reload = Reload(self.watch, self.parts, [self.path], environ, b.clock)

    def write(self, text):
        self.path.write_text(text, encoding="utf-8")

    def look(self, **how):
        """Look until nothing more is to be seen; how often."""
        looks = 1
        while self.reload.look(**how):
            looks += 1
            assert looks < 5
        return looks

    def take(self, *winds, **where):
        return self.b.take(*winds, **where)

    def told(self, contact):
        """Steps of the notices to a contact, oldest first."""
        return [
            (step.name.value, step.reason)
            for kept in self.b.store.notices(contact=contact)
            for step in kept.notice.steps
        ]

    def operator(self):
        return [
            kept.content
            for kept in self.b.store.notices(contact="technician")
            if kept.notice.kind == "operator"
        ]

    def health(self):
        return health.read(status_path(self.watch.settings))


@contextmanager
def running(folder, text=USUAL, environ=None):
    environ = {} if environ is None else environ
    with bench(folder, text, HandClock(START), **environ) as b:
        r = Running(b, environ)
        r.watch.poll()
        yield r
        r.watch.close()


@pytest.fixture
def r(tmp_path):
    with running(tmp_path) as found:
        yield found


def events(caplog, name):
    return [record for record in caplog.records if record.getMessage() == name]


def limit(kt, text=USUAL):
    return text.replace("tie_down_kt = 25", f"tie_down_kt = {kt}")


# --- what is not good changes nothing ----------------------------------------------


def unlink(path):
    path.unlink()


def not_text(path):
    path.write_bytes(USUAL.replace("desk", "d\xe9sk").encode("latin-1"))


def writes(text):
    return lambda path: path.write_text(text)


# What is done to the file; what is then said, between its name and the end.
BAD = [
    pytest.param(writes(""), ": feed: ", id="empty"),
    pytest.param(writes(USUAL[: USUAL.index("wing =") + 7]), ":20: this line: ", id="half"),
    pytest.param(writes(limit(-5)), ":22: aircraft X-XLKS, limits.tie_down_kt: ", id="invalid"),
    pytest.param(writes(USUAL + "colour = 1\n"), ": contact technician, colour: ", id="unknown"),
    pytest.param(not_text, ": the file: it is not in UTF-8", id="not text"),
    pytest.param(unlink, ": the file: there is none of that name", id="gone"),
]


@pytest.mark.promise(18)
@pytest.mark.fault("F50")
@pytest.mark.parametrize(("spoil", "says"), BAD)
def test_a_bad_file_changes_nothing_is_told_once_and_its_end_is_told(r, caplog, spoil, says):
    before, setup, channels = r.watch.settings, r.watch.setup, r.watch.keeper.channels
    spoil(r.path)
    for _ in range(5):
        r.look()
        r.b.clock.move(MINUTE)
        r.watch.poll()
        r.watch.deliver()
    assert r.watch.settings is before
    assert r.watch.setup is setup
    assert r.watch.keeper.channels is channels
    [refused] = events(caplog, "config_refused")
    assert str(r.path) in refused.faults[0]
    where, _, what = says.partition(": ")
    assert where in refused.faults[0]
    assert what in refused.faults[0]
    [told] = r.operator()
    assert told.subject.endswith(
        "The changed configuration cannot be used, and the old one goes on"
    )
    assert "windwatch config check names every fault" in " ".join(told.text.split())
    assert str(r.path) in "".join(told.text.split())
    assert r.told("desk") == [], "nobody else has to hear of it"
    found = r.health()
    assert str(r.path) in found.config_problem
    assert found.faults(r.b.clock.now()) == (), "started anew it would be refused"
    # The old limit still warns.
    assert said(r.take(STORM)) == [("desk", "opened")]

    r.write(limit(24))
    r.look()
    assert r.watch.settings is not before
    assert events(caplog, "config_adopted")[0].changed == ["aircraft X-XLKS changed"]
    assert events(caplog, "trouble_over")
    _, over = r.operator()
    assert over.subject.endswith(
        "Over: the changed configuration cannot be used, and the old one goes on"
    )
    assert r.health().config_problem == ""


@pytest.mark.promise(18)
@pytest.mark.fault("F50")
def test_every_fault_is_in_the_log_and_none_of_it_is_an_address(r, caplog):
    r.write(
        limit(-5).replace("elevation_ft = 960", 'elevation_ft = "high"')
        + '\n[[contact]]\nname = "pilot"\nemail = "someone@@larkspur.example"\n'
    )
    r.look()
    [refused] = events(caplog, "config_refused")
    assert len(refused.faults) == 3
    assert "larkspur" not in "".join(refused.faults)
    [told] = r.operator()
    assert "(and 2 more)" in " ".join(told.text.split())
    assert "someone" not in told.text
    assert "someone" not in (r.health().config_problem)


@pytest.mark.promise(18)
@pytest.mark.fault("F53")
@pytest.mark.parametrize("how", ["environment", "file"])
def test_a_secret_that_is_missing_at_reload_leaves_the_old_one_in_force(r, caplog, how):
    before = r.watch.settings
    key = 'secret_env = "XDESK_SECRET"' if how == "environment" else 'secret_file = "desk.secret"'
    hook = f'\n[[contact]]\nname = "hook"\nwebhook = {{ url = "https://desk.example/in", {key} }}\n'
    r.write(USUAL + hook)
    r.look()
    assert r.watch.settings is before
    [refused] = events(caplog, "config_refused")
    assert "contact hook" in refused.faults[0]
    assert key.partition(" ")[0] in refused.faults[0]
    # It is looked for again, although the file that names it stays as it is.
    r.environ["XDESK_SECRET"] = SECRET
    (r.path.parent / "desk.secret").write_text(SECRET)
    (r.path.parent / "desk.secret").chmod(0o600)
    r.look()
    assert events(caplog, "config_adopted")[0].changed[0] == "contacts: 2 before, 3 now"


@pytest.mark.promise(18)
@pytest.mark.fault("F53")
def test_a_secret_file_that_becomes_unreadable_leaves_the_old_secret_in_use(tmp_path):
    secret = tmp_path / "desk.secret"
    secret.write_text(SECRET)
    secret.chmod(0o600)
    with WebhookReceiver(check_time=False) as receiver:
        hook = (
            '\n[[contact]]\nname = "hook"\n'
            f'webhook = {{ url = "{receiver.url}", allow_http = true, '
            'secret_file = "desk.secret" }\n'
            '\n[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        )
        with running(tmp_path, config_text(people=PEOPLE + hook)) as r:
            secret.write_text("")
            r.look()
            assert "the file it names is empty" in r.health().config_problem
            r.take(STORM)
            r.watch.deliver()
            assert len(receiver.received) == 1, "signed by the old secret"


@pytest.mark.promise(18)
def test_a_change_is_read_only_after_it_has_stood_for_a_second(r, caplog):
    """Cut off between two aircraft a file reads well, and the second one would not be watched."""
    r.write(USUAL + SECOND_AIRCRAFT)
    r.look()
    whole = r.watch.settings
    assert len(whole.fleet.aircraft) == 2
    r.write(USUAL)
    assert r.reload.look() is True, "to be looked at again in a second"
    assert r.watch.settings is whole
    r.write(USUAL + SECOND_AIRCRAFT)
    assert r.look() == 2
    assert r.watch.settings is whole
    assert len(events(caplog, "config_adopted")) == 1


@pytest.mark.promise(18)
def test_a_file_that_changes_while_it_is_read_is_read_again(tmp_path):
    class Meddling(dict):
        """Somebody saves the file just while its secrets are looked up."""

        def get(self, name, default=None):
            if self.pop("armed", None):
                path.write_text(text.replace("tie_down_kt = 25", "tie_down_kt = 18"))
            return super().get(name, default)

    path = tmp_path / "watch.toml"
    feed = 'api_key_env = "XKEY"\n'
    text = USUAL.replace("[store]", feed + "[store]").replace('kind = "awc"', 'kind = "json"')
    text = text.replace(
        feed,
        feed + 'url = "https://anemometer.example/now"\n'
        'mapping = { station = "XLKS", report = "rawOb" }\n',
    )
    environ = Meddling(XKEY="0123456789")
    with running(tmp_path, text, environ) as r:
        r.write(text.replace("tie_down_kt = 25", "tie_down_kt = 22"))
        assert r.reload.look() is True
        environ["armed"] = True
        assert r.reload.look() is True
        assert r.watch.settings.fleet.aircraft[0].limits[0].value == 25
        r.look()
        assert r.watch.settings.fleet.aircraft[0].limits[0].value == 18


# --- what is good is taken -----------------------------------------------------------


@pytest.mark.promise(18)
@pytest.mark.fault("F51")
def test_a_limit_lowered_below_the_present_wind_opens_at_once(r):
    r.take("27015G20KT")
    assert r.told("desk") == []
    r.write(limit(18))
    r.look()
    [(name, reason)] = r.told("desk")
    assert name == "opened"
    assert reason.startswith("limits changed")
    assert "- Rule: limits changed: " in r.b.store.notices(contact="desk")[-1].content.text


@pytest.mark.promise(7, 18)
@pytest.mark.fault("F51")
def test_a_limit_raised_above_the_present_wind_ends_and_calls_nothing_back(r):
    r.take(STORM)
    r.b.clock.move(5 * MINUTE)
    r.write(limit(60))
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened", "ended"]
    last = r.b.store.notices(contact="desk")[-1].content
    assert "the limits were changed" in last.subject
    assert "back within limits" not in last.text


@pytest.mark.promise(7, 18)
@pytest.mark.fault("F52")
@pytest.mark.parametrize("gone", ["aircraft", "airfield"])
def test_what_is_removed_with_an_open_episode_is_no_longer_watched(tmp_path, gone):
    with running(tmp_path, TWO_FIELDS + SECOND_AIRCRAFT) as r:
        r.take(STORM)
        r.take(STORM, station="XBRN")
        count = len(r.told("desk"))
        r.b.clock.move(5 * MINUTE)
        both = TWO_FIELDS if gone == "aircraft" else config_text(people=PEOPLE, airfields=("XBRN",))
        r.write(both)
        r.look()
        new = r.told("desk")[count:]
        assert {name for name, _ in new} == {"ended"}
        assert {reason for _, reason in new} == {"no longer watched"}
        assert len(new) == (1 if gone == "aircraft" else 2)
        last = r.b.store.notices(contact="desk")[-1].content
        assert "back within limits" not in last.text
        # Whatever else is open goes on.
        open_now = {each.airfield for each in r.b.store.episodes(open_only=True)}
        assert open_now == ({"XLKS", "XBRN"} if gone == "aircraft" else {"XBRN"})
        r.b.clock.move(2 * MINUTE)
        r.watch.poll()
        assert r.told("desk")[count:] == new, "said once"


@pytest.mark.promise(18)
def test_what_is_not_changed_goes_on_untouched(tmp_path):
    with running(tmp_path, USUAL + SECOND_AIRCRAFT) as r:
        r.take(STORM)
        before = r.watch.books["XLKS"]
        told = r.told("desk")
        r.b.clock.move(5 * MINUTE)
        r.write("# a comment\n" + USUAL + SECOND_AIRCRAFT.replace("30", "60"))
        r.look()
        after = r.watch.books["XLKS"]
        ours = [t for t in after.state.ledger if t.track.aircraft == "X-XLKS"]
        assert ours == [t for t in before.state.ledger if t.track.aircraft == "X-XLKS"]
        assert [name for name, _ in r.told("desk")[len(told) :]] == ["ended"]


@pytest.mark.promise(18)
def test_a_comment_or_a_file_touched_is_no_change(r, caplog):
    caplog.set_level(logging.INFO)
    events_before = len(r.b.store.events())
    books = r.watch.books
    r.write("# a comment\n" + USUAL)
    r.look()
    assert len(events(caplog, "config_unchanged")) == 1
    assert r.watch.books is books
    assert len(r.b.store.events()) == events_before
    r.path.touch()
    assert r.look() == 1
    assert len(events(caplog, "config_unchanged")) == 1
    r.look(asked=True)
    assert len(events(caplog, "config_unchanged")) == 2, "who asks is answered"


@pytest.mark.promise(18)
def test_a_contact_that_is_added_gets_the_present_state_and_a_removed_one_nothing_more(r):
    r.take(STORM)
    r.b.clock.move(5 * MINUTE)
    r.write(config_text(people=OWNER + TECHNICIAN))
    r.look()
    assert [name for name, _ in r.told("owner")] == ["opened"]
    r.b.clock.move(5 * MINUTE)
    r.take("27030G55KT")
    r.watch.deliver()
    assert [name for name, _ in r.told("owner")] == ["opened", "worsened"]
    assert [name for name, _ in r.told("desk")] == ["opened"]
    assert not list((r.b.folder / "dropped").glob("*")), "not even what waited to be sent"
    assert len(list((r.b.folder / "owner").glob("*.eml"))) == 2


@pytest.mark.promise(18)
def test_an_airfield_that_is_added_is_asked_for_past_every_cache_and_watched(r):
    r.watch.poll()
    assert r.feed.asked[-1] == (("XLKS",), False)
    r.write(TWO_FIELDS)
    r.look()
    r.b.clock.move(MINUTE)
    r.watch.poll()
    r.b.clock.move(MINUTE)
    r.watch.poll()
    assert r.feed.asked[-2:] == [(("XLKS", "XBRN"), True), (("XLKS", "XBRN"), False)]
    assert r.watch.keeper.health(r.watch.books).stations[1].airfield == "XBRN"
    assert said(r.take(STORM, station="XBRN")) == [("desk", "opened")]


@pytest.mark.promise(18)
def test_an_airfield_that_goes_while_the_watch_ticks_fails_no_tick(tmp_path, monkeypatch):
    with running(tmp_path, TWO_FIELDS) as r:
        r.write(USUAL)
        adopting = []
        present = r.watch._present

        def meanwhile(airfield):
            if not adopting:
                adopting.append(threading.Thread(target=r.look))
                adopting[0].start()
                adopting[0].join(timeout=0.2)
            return present(airfield)

        monkeypatch.setattr(r.watch, "_present", meanwhile)
        assert r.watch.tick().failed == []
        adopting[0].join(timeout=5)
        assert [*r.watch.books] == ["XLKS"]


@pytest.mark.promise(18)
def test_an_airfield_that_comes_back_is_called_silent_only_after_the_feed_was_asked(tmp_path):
    with running(tmp_path, TWO_FIELDS) as r:
        r.take(QUIET, station="XBRN")
        r.write(USUAL)
        r.look()
        for _ in range(6):
            r.b.clock.move(timedelta(minutes=50))
            r.take(QUIET)
            r.watch.poll()
        told = len(r.told("desk"))
        r.write(TWO_FIELDS)
        r.look()
        r.watch.tick()
        assert r.told("desk")[told:] == []
        r.watch.poll()
        assert [name for name, _ in r.told("desk")[told:]] == ["no_data", "no_data"]


@pytest.mark.promise(18)
def test_an_alert_ended_by_removal_is_told_again_when_the_aircraft_comes_back(r):
    r.take(STORM)
    r.b.clock.move(5 * MINUTE)
    r.write(USUAL.replace("tie_down_kt = 25", "shelter_kt = 70"))
    r.look()
    r.b.clock.move(5 * MINUTE)
    r.write(USUAL)
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened", "ended", "opened"]


# --- the rim ----------------------------------------------------------------------------


@pytest.mark.promise(18)
def test_the_feed_stays_unless_its_own_settings_change_and_is_closed_between_two_polls(r):
    r.write(limit(24))
    r.look()
    r.watch.poll()
    asked = len(r.feed.asked)
    r.write(limit(24).replace('"60s"', '"90s"').replace("[store]", 'format = "raw"\n[store]'))
    r.look()
    assert r.watch.settings.feed.every == timedelta(seconds=90)
    assert r.health().interval == timedelta(seconds=90)
    assert not r.feed.closed, "a request may be under way"
    r.watch._asking.feed.fetch = Feed().fetch
    r.watch.poll()
    assert r.feed.closed
    assert len(r.feed.asked) == asked


@pytest.mark.promise(18)
def test_a_port_that_cannot_be_had_is_a_fault_like_any_other(r, caplog):
    pytest.importorskip("prometheus_client")
    with WebhookReceiver() as other:
        port = int(other.url.rpartition(":")[2].partition("/")[0])
        text = limit(18, config_text(people=PEOPLE, rim=f"[watch]\nmetrics_port = {port}\n"))
        r.take("27015G20KT")
        r.write(text)
        r.look()
        assert "watch.metrics_port: port" in r.health().config_problem
        assert r.told("desk") == [], "the limit of the same file was not taken either"
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened"]
    assert r.health().config_problem == ""
    r.write(limit(18))
    r.look()
    assert r.watch.keeper._outward.metrics is None


@pytest.mark.promise(18)
def test_another_store_waits_for_a_restart_which_is_said_and_the_rest_is_taken(r, caplog):
    r.take("27015G20KT")
    r.write(limit(18).replace('"watch.db"', '"other.db"'))
    r.look()
    assert [name for name, _ in r.told("desk")] == ["opened"]
    assert r.watch.settings.store.path == r.b.folder / "watch.db"
    assert not (r.b.folder / "other.db").exists()
    problem = r.health().config_problem
    assert problem == (
        f"{r.path}: store.path: what is changed counts from the next start of the watch on"
    )
    [told] = r.operator()
    assert told.subject.endswith("A part of the changed configuration waits for a restart")
    r.look()
    assert len(r.operator()) == 1
    r.write(limit(18))
    r.look()
    assert r.health().config_problem == ""
    assert r.operator()[-1].payload["trouble"]["over"]


@pytest.mark.promise(18)
def test_the_state_moves_to_the_file_that_is_named_and_leaves_none_behind(r):
    old = status_path(r.watch.settings)
    assert old.exists()
    r.write(config_text(people=PEOPLE, rim='[watch]\nstatus_file = "elsewhere.json"\n'))
    r.look()
    assert not old.exists()
    assert (r.b.folder / "elsewhere.json").exists()


@pytest.mark.promise(18)
def test_troubles_with_people_who_are_gone_are_gone(tmp_path):
    broken = '\n[[contact]]\nname = "hook"\nwebhook = { url = "https://nowhere.invalid/x", '
    broken += 'secret_env = "XS" }\n'
    with running(tmp_path, config_text(people=PEOPLE + broken), {"XS": SECRET}) as r:
        r.take(STORM)
        for _ in range(8):
            r.b.clock.move(MINUTE)
            r.watch.poll()
            r.watch.deliver(patience=timedelta(seconds=2))
        if not any("hook" in headline for _, headline, _ in r.health().troubles):
            pytest.fail(f"no trouble with hook: {r.health().troubles}")
        r.write(USUAL)
        r.look()
        assert not any("hook" in headline for _, headline, _ in r.health().troubles)


@pytest.mark.promise(18, 22)
def test_what_must_not_be_read_in_the_log_is_hidden_from_the_change_on(r):
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines(()))
    logging.getLogger("windwatch").addHandler(handler)
    r.write(USUAL.replace("ops@larkspur.example", "duty@xfield.example"))
    r.look()
    record = logging.makeLogRecord({"msg": "x", "said": "to duty@xfield.example"})
    assert "duty" not in handler.formatter.format(record)


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


# --- by the clock -------------------------------------------------------------------------


def test_it_looks_at_once_then_four_times_a_minute_and_again_a_second_after_a_change(r):
    stop, waits = threading.Event(), []

    class Clock(HandClock):
        def wait(self, event, seconds):
            waits.append(seconds)
            if len(waits) == 3:
                r.write(limit(24))
            if len(waits) == 5:
                event.set()  # SIGHUP
            if len(waits) == 6:
                stop.set()
            return super().wait(event, seconds)

    adopted = []
    r.reload._clock = Clock(START)
    r.reload.look_on(stop, lambda: adopted.append(r.watch.settings))
    assert waits == [0, LOOK_EVERY_S, LOOK_EVERY_S, QUIET_S, LOOK_EVERY_S, LOOK_EVERY_S]
    assert len(adopted) == 1


def test_a_failing_look_is_told_and_the_next_one_tried(r, monkeypatch, caplog):
    stop, looks = threading.Event(), []

    def look():
        looks.append(1)
        if len(looks) == 3:
            stop.set()
        raise RuntimeError("a mistake of ours")

    monkeypatch.setattr(r.reload, "look", look)
    r.reload.look_on(stop, lambda: None)
    assert len(looks) == 3
    assert caplog.text.count("turn_failed") == 3


class Job:
    def reschedule(self, trigger, *, seconds):
        self.every = seconds

    def modify(self, *, next_run_time):
        self.next = next_run_time


@pytest.mark.parametrize(("since", "wait"), [(10, 50), (70, 0)])
def test_after_a_change_the_feed_is_asked_soon_but_never_twice_a_minute(r, since, wait):
    polls, job = _Polls(r.watch, r.b.clock), Job()
    polls.poll()
    r.write(USUAL.replace('"60s"', '"600s"'))
    r.look()
    r.b.clock.move(timedelta(seconds=since))
    dog = Watchdog(r.b.clock, limits(timedelta(minutes=1)))
    polls.move(job, dog)
    assert job.every == 600
    assert job.next == r.b.clock.now() + timedelta(seconds=wait)
    # Ten minutes between polls are no hanging now.
    for _ in range(20):
        r.b.clock.move(MINUTE)
        assert dog.look() == ""
