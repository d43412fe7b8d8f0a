"""`board`: pages beside a watch, by a command of its own or by the watch itself."""

import http.client
import json
import signal
import socket
import threading
import time
from datetime import timedelta

import pytest
from click.testing import CliRunner

from tests.board.test_live import Viewer
from tests.servers.feed_server import PlayedFeed
from tests.watch.little_watch import STORM, bench, config_text, metar, recording
from windwatch.board.passwords import is_password
from windwatch.cli.main import main
from windwatch.clock import SystemClock
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings
from windwatch.store.store import open_store

CLOCK = SystemClock()
SOON_S = 20.0


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


# --- the password -------------------------------------------------------------------


def test_the_hash_of_a_password_is_a_line_for_the_configuration(tmp_path):
    # Not by `run`: what goes into a file is not broken for 80 columns.
    result = CliRunner().invoke(main, ["board", "--hash-password"], input="open sesame\n")
    assert result.exit_code == 0
    [line] = result.stdout.splitlines()
    assert "sesame" not in result.stdout + result.stderr
    path = tmp_path / "field.toml"
    path.write_text(config_text(rim=f'[board]\nlisten = "0.0.0.0"\n{line}\n'))
    assert is_password("open sesame", read_settings([path], {}).board.password_hash.reveal())


def test_a_short_password_is_refused(run):
    result = run("board", "--hash-password", given="short\n")
    assert result.exit_code == 2
    assert "8 to 256 characters" in result.stderr


def test_a_board_needs_a_configuration(run):
    result = run("board")
    assert result.exit_code == 2
    assert "windwatch board field.toml" in result.stderr


# --- as people run it ------------------------------------------------------------------


def get(port, path):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", path)
        response = connection.getresponse()
        return response.status, response.read().decode(), response.getheader("set-cookie")
    finally:
        connection.close()


def wait_for(port, path, process, holds=lambda _: True):
    """A page, as soon as it holds something."""
    nothing, begun = threading.Event(), time.monotonic()
    while True:
        assert process.poll() is None, process.stderr.read()
        try:
            status, body, _ = get(port, path)
            if status == 200 and holds(body):
                return body
        except OSError:
            pass
        assert time.monotonic() - begun < SOON_S, path
        nothing.wait(0.05)


def end(process):
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=SOON_S)
    assert process.returncode == 0, said
    return said


def test_a_board_by_itself_shows_what_a_watch_wrote(tmp_path, start):
    with bench(tmp_path, config_text(), CLOCK) as b:
        now = CLOCK.now()
        b.watch.take([RawReport(metar(now, STORM), now, "test")])
    port = free_port()
    board = start("board", "watch.toml", "--port", str(port))
    page = wait_for(port, "/field/XLKS", board)
    assert STORM in page
    status, body, _ = get(port, "/api/field/XLKS")
    assert status == 200
    assert json.loads(body)["evidence"][0]["raw"].endswith("A2980")
    said = end(board)
    assert f"shows its board on http://127.0.0.1:{port}" in said
    assert "Traceback" not in said


def test_a_new_report_is_said_to_those_who_look_on_within_two_seconds(tmp_path, start):
    with bench(tmp_path, config_text(), CLOCK) as b:
        port = free_port()
        board = start("board", "watch.toml", "--port", str(port))
        wait_for(port, "/healthz", board)
        viewer = Viewer(port)
        viewer.next_version()
        waited_s = []
        for minutes in (3, 2, 1):
            then = CLOCK.now() - timedelta(minutes=minutes)
            b.watch.take([RawReport(metar(then, STORM), CLOCK.now(), "test")])
            begun = time.monotonic()
            viewer.next_version()
            waited_s.append(time.monotonic() - begun)
        viewer.close()
    # The best of three: this machine may have other things to do.
    assert min(waited_s) < 2
    end(board)


def form_of(page, name="csrf"):
    return page.partition(f'name="{name}" value="')[2].partition('"')[0]


def test_what_is_noted_on_the_board_is_what_the_command_would_have_written(tmp_path, start):
    with bench(tmp_path, config_text(), CLOCK) as b:
        now = CLOCK.now()
        [(notice, _)] = b.watch.take([RawReport(metar(now, STORM), now, "test")]).notices
    episode = notice.steps[0].episode
    port = free_port()
    board = start("board", "watch.toml", "--port", str(port))
    wait_for(port, "/healthz", board)
    _, page, cookie = get(port, f"/episodes/{episode}")
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request(
        "POST",
        f"/episodes/{episode}/acknowledge",
        f"csrf={form_of(page)}&by=desk&note=two+moved",
        {
            "Cookie": cookie.partition(";")[0],
            "Content-Type": "application/x-www-form-urlencoded",
        },
    )
    assert connection.getresponse().status == 303
    connection.close()
    with open_store(tmp_path / "watch.db", CLOCK) as store:
        [ack] = store.acknowledgements()
    assert (ack.episode, ack.by, ack.note) == (episode, "desk", "two moved")
    end(board)


def test_a_watch_opens_its_board_and_closes_it(tmp_path, start):
    now = CLOCK.now()
    day = recording(tmp_path / "day.txt", [(now, metar(now, STORM))])
    port = free_port()
    with PlayedFeed(day, CLOCK) as feed:
        text = config_text(feed=feed.url, rim=f"[board]\nport = {port}\n")
        (tmp_path / "field.toml").write_text(text)
        watch = start("watch", "field.toml")
        wait_for(port, "/field/XLKS", watch, lambda page: STORM in page)
        end(watch)
    with pytest.raises(OSError, match="refused"):
        get(port, "/healthz")


def test_a_watch_goes_on_without_a_board_that_cannot_be_opened(tmp_path, start):
    now = CLOCK.now()
    day = recording(tmp_path / "day.txt", [(now, metar(now, STORM))])
    with PlayedFeed(day, CLOCK) as feed, socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        text = config_text(feed=feed.url, rim=f"[board]\nport = {port}\n")
        (tmp_path / "field.toml").write_text(text)
        watch = start("watch", "field.toml")
        begun, nothing = time.monotonic(), threading.Event()
        while not list(tmp_path.glob("dropped/*")):
            assert time.monotonic() - begun < SOON_S
            nothing.wait(0.05)
        assert "board_not_opened" in end(watch)


def test_a_watch_that_turns_once_opens_no_board(tmp_path, run, monkeypatch):
    now = CLOCK.now()
    day = recording(tmp_path / "day.txt", [(now, metar(now, STORM))])
    monkeypatch.chdir(tmp_path)
    with PlayedFeed(day, CLOCK) as feed, socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        text = config_text(feed=feed.url, rim=f"[board]\nport = {port}\n")
        (tmp_path / "field.toml").write_text(text)
        result = run("watch", "field.toml", "--once")
    assert result.exit_code == 0
    assert "board" not in result.stderr
