"""`replay`: the demo day in words and as JSON, and recordings with something wrong in them."""

import email
import email.policy
import json
import shutil

import pytest


@pytest.fixture
def demo(root, tmp_path, monkeypatch):
    """The demo's files in a folder of the test's own."""
    for folder in ("config", "recorded_reports"):
        shutil.copytree(root / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def record(folder, *lines):
    path = folder / "recorded.txt"
    path.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
    return "recorded.txt"


FAIR = "2026-09-22T15:00:00Z METAR XLKS 221453Z 28006KT 10SM CLR 20/10 A2990"
STORM = "2026-09-22T15:10:30Z SPECI XLKS 221507Z 28030G45KT 10SM CLR 20/10 A2990"


def test_the_demo_day_is_told_with_whom_and_why(run, demo, caution, flat):
    result = run("replay", "config/demo.toml")
    assert result.exit_code == 0
    assert "22 19:09Z  SPECI XLKS 221907Z 30028G41KT" in result.stdout
    assert "to owner of X-WREN (email), 19:09Z" in result.stdout
    said = flat(result.stdout)
    assert "over, worse than told before: tie-down X-WREN 41 kt > 22 kt (X-WREN)" in said
    assert "35 notices: operations desk 13, instructor on duty 10, owner of X-WREN 12" in said
    assert said.endswith(caution)


def test_the_mails_and_payloads_lie_in_the_folder(run, demo):
    run("replay", "config/demo.toml", "--quiet", "--out", "kept")
    mails = [
        email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        for path in (demo / "kept").glob("*.eml")
    ]
    assert len(mails) == 35
    assert len({mail["Message-ID"] for mail in mails}) == 35
    hooks = [json.loads(path.read_text()) for path in (demo / "kept").glob("*.json")]
    assert len(hooks) == 13
    assert {hook["body"]["contact"] for hook in hooks} == {"operations desk"}


def test_a_second_replay_says_the_same_and_leaves_the_same_files(run, demo):
    until = ("--until", "2026-09-22T17:00Z")
    first = run("replay", "config/demo.toml", *until).stdout
    files = sorted(path.name for path in (demo / "demo-notices").iterdir())
    assert run("replay", "config/demo.toml", *until).stdout == first
    assert sorted(path.name for path in (demo / "demo-notices").iterdir()) == files


def test_quiet_leaves_the_summary(run, demo, caution, flat):
    result = run("replay", "config/demo.toml", "--quiet")
    assert flat(result.stdout) == flat(
        "35 notices: operations desk 13, instructor on duty 10, owner of X-WREN 12 "
        f"Mails and payloads are in demo-notices {caution}"
    )


def test_json_has_every_notice_with_its_steps(answer, demo, caution):
    found = answer("replay", "config/demo.toml", "--out", "kept")
    assert set(found) == {"notices", "problems", "not_delivered", "folder", "caution"}
    assert len(found["notices"]) == 35
    assert found["problems"] == []
    assert found["not_delivered"] == []
    assert found["folder"] == "kept"
    assert found["caution"] == caution
    gust_front = next(n for n in found["notices"] if n["at"] == "2026-09-22T19:09:00Z")
    assert set(gust_front) == {"at", "id", "contact", "airfield", "kind", "subject", "steps"}
    assert set(gust_front["steps"][0]) == {
        "step",
        "track",
        "runway",
        "figure_kt",
        "limit_kt",
        "quantity",
        "reason",
    }


def test_until_goes_on_to_the_summary_at_opening(run, demo, flat):
    result = run("replay", "config/demo.toml", "--until", "2026-09-23T11:05Z")
    assert result.exit_code == 0
    _, _, opening = result.stdout.partition("to operations desk (email/webhook), 11:00Z")
    assert "back within limits: runways X-LARK / student solo" in flat(opening)
    assert "to instructor on duty (email), 11:00Z" in opening
    assert "40 notices: operations desk 15, instructor on duty 12" in flat(result.stdout)
    assert "unknown: wind" in flat(result.stdout), "nothing came all night"


def test_until_before_the_end_stops_there(run, demo, flat):
    result = run("replay", "config/demo.toml", "--until", "2026-09-22T14:00Z")
    assert "1 notice: operations desk 1" in flat(result.stdout)


def test_until_before_the_beginning_is_refused(run, demo):
    result = run("replay", "config/demo.toml", "--until", "2026-09-01T00:00Z")
    assert result.exit_code == 2
    assert "before the first recorded line" in result.stderr


def test_several_files_are_played_in_one_order_of_time(answer, demo):
    lines = (demo / "recorded_reports" / "front_day.txt").read_text().splitlines()
    until = ("--until", "2026-09-22T17:00Z")
    whole = answer("replay", "config/demo.toml", *until)
    (demo / "even.txt").write_text("\n".join(lines[::2]))
    (demo / "odd.txt").write_text("\n".join(lines[1::2]))
    halves = answer("replay", "config/demo.toml", "odd.txt", "even.txt", *until)
    assert whole["notices"]
    assert halves["notices"] == whole["notices"]


def test_lines_that_cannot_be_read_are_named_and_the_others_played(run, demo, flat):
    recorded = record(
        demo, "what is this", FAIR, "2026-09-22 rubbish \x00 \x1b[31m", STORM, "x" * 500
    )
    result = run("replay", "config/demo.toml", recorded)
    assert result.exit_code == 0
    said = flat(result.stdout)
    for number in (1, 3, 5):
        assert f"problem: recorded.txt:{number}:" in said
    assert "over: tie-down X-WREN 45 kt > 22 kt" in said
    assert "\x1b" not in result.stdout


def test_a_report_of_nobody_here_is_a_problem(answer, demo):
    other = "2026-09-22T15:05:00Z METAR XOTH 221500Z 28006KT 10SM CLR 20/10 A2990"
    found = answer("replay", "config/demo.toml", record(demo, FAIR, other))
    assert found["problems"] == ["a report of XOTH was not asked for"]


def test_the_last_line_counts_also_between_two_minutes(answer, demo):
    found = answer("replay", "config/demo.toml", record(demo, FAIR, STORM))
    assert {n["contact"] for n in found["notices"]} == {
        "operations desk",
        "instructor on duty",
        "owner of X-WREN",
    }
    assert {n["at"] for n in found["notices"]} == {"2026-09-22T15:10:30Z"}


def test_recorded_ticks_and_acknowledgements_are_played(answer, demo):
    hourly = [
        f"2026-09-22T{hour}:10:00Z METAR XLKS 22{hour}07Z 28030G45KT 10SM CLR 20/10 A2990"
        for hour in range(16, 20)
    ]
    recorded = record(demo, FAIR, STORM, *hourly)
    reminded = answer("replay", "config/demo.toml", recorded)
    steps = [s["step"] for n in reminded["notices"] for s in n["steps"]]
    assert "reminder" in steps
    taken = "2026-09-22T15:20:00Z ACKNOWLEDGE all BY operations desk"
    recorded = record(demo, FAIR, STORM, "2026-09-22T15:15:00Z TICK", taken, *hourly)
    quiet = answer("replay", "config/demo.toml", recorded)
    assert "reminder" not in [s["step"] for n in quiet["notices"] for s in n["steps"]]


def test_desk_entries_are_said_not_to_be_played(answer, demo):
    entry = '2026-09-22T15:05:00Z DESK {"kind": "runway_in_use", "runway": "28"}'
    found = answer("replay", "config/demo.toml", record(demo, FAIR, entry))
    assert found["problems"] == ["recorded.txt:2: desk entries are not played in this version"]


@pytest.mark.parametrize("content", ["", "# nothing but a remark\n", "rubbish\n"])
def test_a_file_without_a_report_is_no_usable_data(run, demo, content):
    (demo / "recorded.txt").write_text(content)
    result = run("replay", "config/demo.toml", "recorded.txt")
    assert result.exit_code == 3
    assert "recorded.txt" in result.stderr


def test_a_file_that_is_not_there_is_a_mistake_of_usage(run, demo):
    result = run("replay", "config/demo.toml", "nowhere.txt")
    assert result.exit_code == 2


def test_a_configuration_without_a_recording_asks_for_one(run, demo):
    result = run("replay", "config/minimal.toml")
    assert result.exit_code == 2
    assert "no recorded file is named" in result.stderr


def test_a_bad_configuration_names_its_faults(run, demo):
    (demo / "bad.toml").write_text('[feed]\nkind = "radio"\nevry = "60s"\n')
    result = run("replay", "bad.toml")
    assert result.exit_code == 2
    assert "bad.toml:2" in result.stderr
    assert "bad.toml:3" in result.stderr
    assert "faults found." in result.stderr
