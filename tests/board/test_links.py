"""Signed links: out of a notice, for one contact, for a day; only a form does anything."""

import re
from datetime import timedelta

import pytest

from tests.board.fakes import NOTICE, served
from tests.watch.little_watch import QUIET, START, STORM, bench, config_text
from windwatch.board.links import Links, composer, links_of
from windwatch.board.noting import Told, shown, take_note
from windwatch.settings.running import BoardValues
from windwatch.settings.secret import Secret

pytestmark = pytest.mark.guard("acknowledge links")

MINUTE = timedelta(minutes=1)
SECRET = "a secret that nobody else has, at all"
SIGNED = BoardValues(secret=Secret(SECRET), address="https://board.larkspur.example")
TOKEN = re.compile(r"https://board\.larkspur\.example/take-note/(\S+)")


@pytest.fixture
def alert(tmp_path):
    """A watch whose notices bear links, and the first of them."""
    with bench(tmp_path, config_text()) as b:
        b.watch._with_links = composer(SIGNED)
        [(notice, content)] = b.take(STORM).notices
        yield b, notice, content


def token_in(content):
    return TOKEN.search(content.text)[1]


def describe(episode, now):
    return episode


# --- the words ------------------------------------------------------------------------


def test_a_notice_bears_the_same_link_in_text_html_and_payload(alert):
    _, _, content = alert
    link = content.payload["acknowledge_url"]
    assert link == "https://board.larkspur.example/take-note/" + token_in(content)
    assert f'<a href="{link}"' in content.html
    # The only thing in it that leads anywhere, and nothing is loaded.
    assert content.html.count("http") == 1
    assert SECRET not in content.text + content.html


def test_without_an_address_or_a_secret_nothing_is_changed():
    assert composer(None) is None
    assert composer(BoardValues(address="https://board.larkspur.example")) is None
    assert composer(BoardValues(secret=Secret(SECRET))) is None


def test_what_has_ended_bears_no_link(alert):
    b, _, _ = alert
    told = []
    for minute in range(10, 130, 10):
        b.at(START + minute * MINUTE)
        told += b.take(QUIET).notices
    [(_, content)] = [each for each in told if each[0].kind == "cancel"]
    assert "acknowledge_url" not in content.payload
    assert TOKEN.search(content.text) is None


def test_the_same_notice_has_the_same_link_whenever_it_is_made(alert):
    _, notice, _ = alert
    assert links_of(SIGNED).make(notice) == links_of(SIGNED).make(notice)


# --- what it is signed for ---------------------------------------------------------------


def test_a_link_holds_for_a_day_and_no_longer(alert):
    _, notice, content = alert
    links, token = links_of(SIGNED), token_in(content)
    contact = {notice.id: "desk"}.get
    assert links.read(token, contact, START).contact == "desk"
    assert links.read(token, contact, notice.at + timedelta(hours=23, minutes=59)) is not None
    assert links.read(token, contact, notice.at + timedelta(hours=24)) is None


def test_a_link_serves_one_notice_and_one_contact(alert):
    _, notice, content = alert
    links, token = links_of(SIGNED), token_in(content)
    assert links.read(token, {notice.id: "owner"}.get, START) is None
    assert links.read(token, {}.get, START) is None
    other = token.replace(notice.id, "f" * len(notice.id))
    assert links.read(other, lambda _: "desk", START) is None
    longer = re.sub(r"\.([0-9a-f]+)\.", ".ffffffff.", token)
    assert links.read(longer, lambda _: "desk", START) is None


def test_another_secret_reads_no_link(alert):
    _, _, content = alert
    other = Links(b"another secret, also long enough")
    assert other.read(token_in(content), lambda _: "desk", START) is None


@pytest.mark.parametrize("token", ["", ".", "a.b.c", "é", "0" * 5_000, "a" * 24 + ".1." + "A" * 32])
def test_what_is_no_link_is_none(token):
    assert links_of(SIGNED).read(token, lambda _: "desk", START) is None


# --- what it does, on a real store --------------------------------------------------------


def told(b, notice, contact="desk"):
    return Told(b.store, b.settings.fleet, notice.id, contact, b.clock.now())


def test_to_open_it_changes_nothing(alert):
    b, notice, _ = alert
    for _ in range(3):
        page = shown(told(b, notice), describe)
    assert page.button
    assert "has changed nothing" in page.words
    assert b.store.acknowledgements() == ()


def test_taking_note_stops_the_reminders_as_the_command_does(alert):
    b, notice, _ = alert
    page = take_note(b.store, told(b, notice), describe)
    assert page.words.startswith("Noted. Its reminders stop for 6 hours;")
    assert not page.button
    [ack] = b.store.acknowledgements()
    assert (ack.by, ack.at) == ("desk", START)
    b.at(START + MINUTE)
    b.watch.tick()
    [taken] = b.watch.books["XLKS"].state.acknowledged
    assert taken.episode == notice.steps[0].episode


def test_a_second_use_does_no_harm(alert):
    b, notice, _ = alert
    take_note(b.store, told(b, notice), describe)
    b.at(START + MINUTE)
    page = take_note(b.store, told(b, notice), describe)
    assert page.words == "Noted already, by desk: once is enough."
    assert len(b.store.acknowledgements()) == 1


def test_once_it_has_lapsed_it_can_be_noted_anew(alert):
    b, notice, _ = alert
    take_note(b.store, told(b, notice), describe)
    b.at(START + timedelta(hours=6, minutes=1))
    assert shown(told(b, notice), describe).button


def test_of_what_has_ended_nobody_takes_note(alert):
    b, notice, _ = alert
    for minute in range(10, 130, 10):
        b.at(START + minute * MINUTE)
        b.take(QUIET)
    page = take_note(b.store, told(b, notice), describe)
    assert (page.button, page.valid) == (False, True)
    assert "has ended" in page.words
    assert b.store.acknowledgements() == ()


def test_a_contact_that_is_gone_takes_no_note(alert):
    b, notice, _ = alert
    page = take_note(b.store, told(b, notice, "somebody"), describe)
    assert not page.valid
    assert b.store.acknowledgements() == ()


# --- through the server --------------------------------------------------------------------


@pytest.fixture
def here():
    with served(SIGNED) as found:
        yield found


@pytest.fixture
def link(here):
    """The path of a link to the fakes' notice."""

    class Made:
        id, contact, at = NOTICE, "owner", here.board._clock.now()

    url = links_of(SIGNED).make(Made())
    return url.removeprefix("https://board.larkspur.example")


def test_no_login_is_needed_and_only_the_form_acts(here, link):
    browser = here.browser()
    page = browser.get(link)
    assert page.status == 200
    assert page.cookies == {}
    for method in ("GET", "HEAD", "OPTIONS", "PUT"):
        browser.ask(method, link)
    assert here.source.noted == []
    form = browser.form(link, "form")
    done = browser.post(link, {"form": form})
    assert done.status == 200
    assert [by for _, by, _ in here.source.noted] == ["owner"]
    browser.post(link, {"form": form})
    assert len(here.source.noted) == 1


@pytest.mark.parametrize("fields", [{}, {"form": ""}, {"form": "x"}, {"csrf": "x"}])
def test_a_scanner_that_sends_forms_blindly_does_nothing(here, link, fields):
    assert here.browser().post(link, fields).status == 403
    assert here.source.noted == []


def test_a_link_opens_no_other_page():
    password = "pbkdf2:1:c2FsdHNhbHRzYWx0c2FsdA:" + "A" * 43
    values = BoardValues(secret=Secret(SECRET), password_hash=Secret(password))
    with served(values) as here:

        class Made:
            id, contact, at = NOTICE, "owner", here.board._clock.now()

        browser = here.browser()
        path = Links(SECRET.encode()).make(Made())
        assert browser.get(path).status == 200
        assert browser.get("/field/XLKS").status == 303


def test_a_forged_link_says_no_more_than_that_it_does_not_hold(here, link):
    notice, until, signature = link.removeprefix("/take-note/").split(".")
    for forged in (
        f"{notice}.{until}.{'A' * 32}",
        f"{'f' * 24}.{until}.{signature}",
        f"{notice}.{int(until, 16) + 1:x}.{signature}",
    ):
        answer = here.browser().get(f"/take-note/{forged}")
        assert answer.status == 404
        assert "does not hold" in answer.body
        assert "owner" not in answer.body
