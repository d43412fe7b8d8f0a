"""A configuration that changes while the watch runs: promise 18, faults F50 to F53."""

import logging
import threading
from datetime import timedelta

import pytest

from tests.servers.webhook_server import SECRET, WebhookReceiver
from tests.watch.little_watch import MINUTE, QUIET, STORM, config_text, said
from tests.watch.reloaded import (
    OWNER,
    PEOPLE,
    SECOND_AIRCRAFT,
    TECHNICIAN,
    TWO_FIELDS,
    USUAL,
    events,
    limit,
    running,
)

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


@pytest.mark.promise(18)
@pytest.mark.parametrize("also", ["", "secret"])
def test_what_is_saved_just_after_it_was_read_is_taken_at_the_next_look(
    r, monkeypatch, tmp_path, also
):
    (tmp_path / "desk.secret").write_text(SECRET)
    (tmp_path / "desk.secret").chmod(0o600)
    hook = '\n[[contact]]\nname = "hook"\n'
    hook += 'webhook = { url = "https://desk.example/in", secret_file = "desk.secret" }\n'
    text = USUAL + hook if also else USUAL
    look, looks = r.reload._look, []

    def saved_after_the_last_look():
        found = look()
        looks.append(found)
        if len(looks) == 3:
            if also:
                (tmp_path / "desk.secret").write_text(SECRET[:-5] + "AAAA=")
            else:
                r.write(limit(18))
        return found

    monkeypatch.setattr(r.reload, "_look", saved_after_the_last_look)
    r.write(limit(22, text))
    r.look()
    assert r.watch.settings.fleet.aircraft[0].limits[0].value == 22
    r.look()
    if also:
        [secret] = r.watch.settings.addresses["hook"].webhook.secrets
        assert secret.reveal().endswith("AAAA=")
    else:
        assert r.watch.settings.fleet.aircraft[0].limits[0].value == 18
    settled = r.watch.settings
    assert r.look() == 1, "nothing more to be seen"
    assert r.watch.settings is settled


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
