"""`log` and `explain`: what happened, what was sent, and why, after the demo day."""

import json
import re
import shutil

import pytest

from windwatch.cli.replay import play
from windwatch.clock import HandClock
from windwatch.feeds.recorded import read_recorded
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store


@pytest.fixture(scope="module")
def played(root, tmp_path_factory):
    """The demo day, as `watch` would have stored it."""
    folder = tmp_path_factory.mktemp("demo")
    for name in ("config", "recorded_reports"):
        shutil.copytree(root / name, folder / name)
    settings = read_settings([folder / "config" / "demo.toml"], {}, require_secrets=False)
    lines = read_recorded(folder / "recorded_reports" / "front_day.txt")
    store = settings.store.path
    store.parent.mkdir(exist_ok=True)
    return folder, play(settings, lines, folder / "out", store), store


@pytest.fixture
def demo(played, monkeypatch):
    folder, day, _ = played
    monkeypatch.chdir(folder)
    return day


SINCE = ("--since", "2026-09-22T10:00Z")


def test_log_lists_every_notice_with_its_deliveries(run, demo, caution, flat):
    result = run("log", "config/demo.toml", *SINCE)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[0].split() == [
        "made",
        "contact",
        "subject",
        "deliveries",
        "notice",
    ]
    for notice, _ in demo.sent:
        assert notice.id[:8] in result.stdout
    assert "accepted" in result.stdout
    assert flat(result.stdout).endswith(caution)


def test_log_of_one_contact(run, demo):
    result = run("log", "config/demo.toml", *SINCE, "--contact", "instructor on duty")
    mine = {n.id[:8] for n, _ in demo.sent if n.contact == "instructor on duty"}
    others = {n.id[:8] for n, _ in demo.sent} - mine
    assert all(id_ in result.stdout for id_ in mine)
    assert not any(id_ in result.stdout for id_ in others)


def test_log_of_nothing_says_that_it_says_nothing_of_the_wind(run, demo):
    result = run("log", "config/demo.toml", "--since", "2026-10-22T10:00Z")
    assert result.exit_code == 0
    assert "That says nothing about the wind." in result.stdout


def test_log_as_json(answer, demo, caution):
    found = answer("log", "config/demo.toml", *SINCE)
    keys = {"since", "notices", "open_episodes", "acknowledgements", "caution"}
    assert set(found) == keys
    assert len(found["notices"]) == len(demo.sent)
    assert found["caution"] == caution
    notice = found["notices"][0]
    assert set(notice) == {
        "id",
        "at",
        "contact",
        "airfield",
        "kind",
        "subject",
        "steps",
        "deliveries",
    }
    assert [d["state"] for d in notice["deliveries"]] == ["accepted", "accepted"]
    assert [d["tries"] for d in notice["deliveries"]] == [1, 1]


@pytest.mark.parametrize("since", ["yesterday", "", "2026-13-01T00:00Z"])
def test_a_time_that_is_none_is_refused(run, demo, since):
    result = run("log", "config/demo.toml", "--since", since)
    if since:
        assert result.exit_code == 2
        assert "2026-09-22T19:07Z" in result.stderr
    else:
        assert result.exit_code == 0


def gust_front(demo, contact):
    return next(n for n, _ in demo.sent if n.contact == contact and f"{n.at:%H:%M}" == "19:09")


def test_explain_derives_a_notice_from_the_raw_report(run, demo, caution, flat):
    notice = gust_front(demo, "owner of X-WREN")
    result = run("explain", "config/demo.toml", notice.id[:8])
    assert result.exit_code == 0
    said = flat(result.stdout)
    assert notice.id in said
    assert "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB" in said, "the raw report"
    assert "decoded: 300/28G41 kt true" in said
    assert "limit 35 kt, X-WREN" in said, "the limit and whose it is"
    assert "figure: shelter 41 kt" in said
    assert "rule: one report over the limit is enough" in said
    assert "observed 15:07 local (19:07Z), received 15:09 local (19:09Z)" in said
    assert "found 22 Sep 15:09 local (19:09Z)" in said
    assert "email try 1 at 19:09:00Z: accepted" in said
    assert said.endswith(caution)


def test_explain_recomputes_the_components_of_a_runway(run, demo, flat):
    """190/16G25, 150V220, on 28 (271.4 true): 181.4 lies inside the sector, all 25 kt cross."""
    notice = next(
        n for n, _ in demo.sent if f"{n.at:%H:%M}" == "16:56" and n.contact == "operations desk"
    )
    said = flat(run("explain", "config/demo.toml", notice.id).stdout)
    assert "190/16G25" in said
    found = re.findall(
        r"recomputed on (\S+), heading ([\d.]+) true: worst crosswind ([\d.]+)", said
    )
    assert found
    for step in notice.steps:
        if step.finding is not None and step.finding.quantity == "crosswind" and step.end:
            assert (step.end, f"{step.finding.figure:.1f}") in [(e, c) for e, _, c in found]


def test_explain_of_an_episode_shows_all_its_steps_in_order(run, demo, flat):
    tied = next(
        s for s in gust_front(demo, "owner of X-WREN").steps if s.track.quantity == "tie_down"
    )
    result = run("explain", "config/demo.toml", tied.episode[:8])
    said = flat(result.stdout)
    assert result.exit_code == 0
    assert said.startswith(f"episode {tied.episode}")
    told = [
        said.index("over: tie-down X-WREN 25 kt > 22 kt"),
        said.index("over, worse than told before: tie-down X-WREN 41 kt > 22 kt"),
        said.index("over, worse than told before: tie-down X-WREN 46 kt > 22 kt"),
        said.index("back within limits: tie-down X-WREN 8 kt of 22 kt"),
    ]
    assert told == sorted(told)
    assert said.count("told owner of X-WREN") == 4


def test_explain_as_json(answer, demo):
    notice = gust_front(demo, "owner of X-WREN")
    found = answer("explain", "config/demo.toml", notice.id[:10])
    assert set(found) == {"kind", "id", "steps", "notices", "caution"}
    assert found["kind"] == "notice"
    assert found["id"] == notice.id
    assert [s["id"] for s in found["steps"]] == [s.id for s in notice.steps]
    step = found["steps"][0]
    assert {"figure_kt", "limit_kt", "whose", "quantity", "reason", "reports", "at"} <= set(step)
    assert found["steps"][0]["reports"][0].startswith("SPECI XLKS 221907Z")


def test_an_id_that_may_be_several_asks_for_more_letters(run, demo, played):
    with open_store(played[2], HandClock(demo.sent[0][0].at)) as store:
        firsts = [e.id[0] for e in store.episodes()] + [n.id[0] for n, _ in demo.sent]
    often = max(set(firsts), key=firsts.count)
    result = run("explain", "config/demo.toml", often)
    assert result.exit_code == 2
    assert "give more letters" in result.stderr


@pytest.mark.parametrize("what", ["zzzz", "%", "_"])
def test_an_id_that_is_none_is_refused(run, demo, what):
    result = run("explain", "config/demo.toml", what)
    assert result.exit_code == 2
    assert "`windwatch log` lists them" in result.stderr


@pytest.mark.parametrize("command", ["log", "explain", "acknowledge"])
def test_faults_of_a_configuration_are_listed(run, demo, command, played):
    (played[0] / "bad.toml").write_text('[feed]\nkind = "radio"\nevry = "60s"\n')
    what = [] if command == "log" else ["abc"]
    result = run(command, "bad.toml", *what)
    assert result.exit_code == 2
    assert "bad.toml:2" in result.stderr
    assert "bad.toml:3" in result.stderr


def test_hostile_text_in_the_store_reaches_no_terminal(run, demo):
    result = run("log", "config/demo.toml", *SINCE)
    assert result.stdout.replace("\n", "").isprintable()
    json.dumps(result.stdout)
