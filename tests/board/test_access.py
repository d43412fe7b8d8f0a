"""Passwords, logins, roles and proxies, through the real server."""

import time
from datetime import UTC, datetime, timedelta

import pytest

from tests.board.fakes import EPISODE, served
from windwatch.board.access import Access, Refused
from windwatch.board.limits import GUESSES, Allowance, Rate, counted_as
from windwatch.board.passwords import hash_password, is_password
from windwatch.board.sessions import COOKIE, Role, Sessions
from windwatch.settings.running import BoardValues
from windwatch.settings.secret import Secret

pytestmark = pytest.mark.guard("board")

NOW = datetime(2026, 9, 22, 15, 0, tzinfo=UTC)
# Of no use anywhere but here; few rounds, so that tests do not wait.
DESK = "pbkdf2:1:c2FsdHNhbHRzYWx0c2FsdA:"
PAGE = "/field/XLKS"


def quick(password):
    """A hash of few rounds."""
    import base64  # noqa: PLC0415
    import hashlib  # noqa: PLC0415

    made = hashlib.pbkdf2_hmac("sha256", password.encode(), b"saltsaltsaltsalt", 1)
    return Secret(DESK + base64.urlsafe_b64encode(made).decode().rstrip("="))


GUARDED = BoardValues(password_hash=quick("desk word"), viewer_password_hash=quick("look word"))


@pytest.fixture(scope="module")
def one_server():
    with served(GUARDED) as found:
        yield found


@pytest.fixture
def here(one_server):
    return one_server.as_new()


# --- passwords ----------------------------------------------------------------------


def test_a_password_is_known_by_its_hash_alone():
    kept = hash_password("open sesame")
    assert kept.startswith("scrypt:16384:8:5:")
    assert "sesame" not in kept
    assert is_password("open sesame", kept)
    assert not is_password("open sesam", kept)
    assert hash_password("open sesame") != kept  # each has a salt of its own


def test_a_look_at_a_password_is_slow():
    kept = hash_password("open sesame")
    begun = time.monotonic()
    is_password("another one", kept)
    assert time.monotonic() - begun > 0.03


@pytest.mark.parametrize("password", ["", "short", "x" * 300])
def test_a_password_too_short_or_too_long_is_refused(password):
    with pytest.raises(ValueError, match="8 to 256"):
        hash_password(password)


@pytest.mark.parametrize(
    "kept",
    ["scrypt:16383:8:5:c2FsdHNhbHRzYWx0c2FsdA:" + "A" * 43,  # no power of two
     "scrypt:8388608:8:5:c2FsdHNhbHRzYWx0c2FsdA:" + "A" * 43,  # 8 GiB
     "scrypt:2:0:5:c2FsdHNhbHRzYWx0c2FsdA:" + "A" * 43],
)  # fmt: skip
def test_a_hash_of_impossible_figures_lets_nobody_in(kept):
    assert not is_password("open sesame", kept)


# --- sessions -----------------------------------------------------------------------


def test_a_cookie_tells_who_it_is_until_it_is_too_old():
    sessions = Sessions(b"key", "hashes")
    session = sessions.begin(NOW, Role.DESK, "Ann")
    cookie = sessions.as_cookie(session)
    assert sessions.read(cookie, NOW + timedelta(hours=11)) == session
    assert sessions.read(cookie, NOW + timedelta(hours=12)) is None


def test_a_forged_cookie_is_nobody():
    sessions = Sessions(b"key", "hashes")
    viewer = sessions.as_cookie(sessions.begin(NOW, Role.VIEWER, "v"))
    other = sessions.as_cookie(sessions.begin(NOW, Role.DESK, "v"))
    mixed = other.partition(".")[0] + "." + viewer.partition(".")[2]
    for cookie in ("", ".", "é.x", mixed, viewer[:-1], viewer + "A", "a" * 5_000):
        assert sessions.read(cookie, NOW) is None


def test_another_password_or_secret_ends_every_login():
    cookie = Sessions(b"key", "old").as_cookie(Sessions(b"key", "old").begin(NOW, Role.DESK))
    assert Sessions(b"key", "old").read(cookie, NOW) is not None
    assert Sessions(b"key", "new").read(cookie, NOW) is None
    assert Sessions(b"other", "old").read(cookie, NOW) is None


# --- logging in ----------------------------------------------------------------------


def test_without_a_login_nothing_is_shown(here):
    browser = here.browser()
    answer = browser.get(PAGE + "?for=a")
    assert answer.status == 303
    assert answer.headers["location"] == "/login?back=%2Ffield%2FXLKS%3Ffor%3Da"
    for path in ("/api/field/XLKS", "/live/XLKS", "/api/openapi.json"):
        assert browser.get(path).status == 401
    assert here.source.made == []
    # What the login page itself needs, and what a supervisor asks.
    assert browser.get("/static/board.0123.css").status == 200
    assert browser.get("/healthz").body == '{"board": "works"}'


def test_the_desk_logs_in_takes_note_and_logs_out(here):
    browser = here.browser()
    answer = browser.log_in("desk word", "Ann")
    assert answer.status == 303
    cookie = answer.cookies[COOKIE]
    assert cookie["httponly"]
    assert cookie["samesite"] == "strict"
    assert not cookie["secure"]  # this way is not encrypted
    page = browser.get(PAGE)
    assert "name=&#x27;Ann&#x27;, may_acknowledge=True, logged_in=True" in page.body
    token = browser.form(PAGE)
    browser.post(f"/episodes/{EPISODE}/acknowledge", {"csrf": token})
    assert here.source.noted == [((EPISODE,), "Ann", "")]
    assert browser.post("/logout", {"csrf": token}).status == 303
    assert browser.get(PAGE).status == 303


def test_a_viewer_may_look_and_no_more(here):
    browser = here.browser()
    browser.log_in("look word")
    assert "may_acknowledge=False, logged_in=True" in browser.get(PAGE).body
    token = browser.form(PAGE)
    answer = browser.post(f"/episodes/{EPISODE}/acknowledge", {"csrf": token})
    assert answer.status == 403
    assert here.source.noted == []


def test_a_wrong_password_lets_nobody_in_and_is_written_nowhere(caplog):
    with served(GUARDED) as here:
        browser = here.browser()
        answer = browser.log_in("wrong word")
        assert answer.status == 401
        assert "That password is wrong." in answer.body
        assert browser.get(PAGE).status == 303
    assert "board_login_refused" in caplog.text
    assert "wrong word" not in caplog.text + answer.body


def test_tries_are_few_and_the_right_password_must_wait_too(here):
    browser = here.browser()
    statuses = [browser.log_in("wrong word").status for _ in range(int(GUESSES.at_once))]
    assert set(statuses) == {401}
    answer = browser.log_in("desk word")
    assert answer.status == 429
    assert answer.headers["retry-after"] == "60"


def test_a_login_form_of_another_site_is_refused(here):
    answer = here.browser().post("/login", {"csrf": "x", "password": "desk word"})
    assert answer.status == 403
    assert COOKIE not in answer.cookies or "desk" not in str(answer.cookies)


def test_a_login_begins_a_session_that_nobody_knew_before(here):
    browser = here.browser()
    browser.get("/login")
    before = browser.cookies[COOKIE]
    browser.log_in("desk word")
    after = browser.cookies[COOKIE]
    stolen = here.browser(cookies={COOKIE: before})
    assert after != before
    assert stolen.get(PAGE).status == 303


# --- proxies and other addresses ------------------------------------------------------


def visit(values, peer, now=NOW, **headers):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Access(values).visitor(peer, {"host": "board.larkspur.example"} | named, {}, now)


OPEN = BoardValues(listen="0.0.0.0", names=("board.larkspur.example",))  # noqa: S104 - the case
PROXIED = BoardValues(
    listen="10.0.0.7", names=OPEN.names, trusted_proxy=("10.0.0.5/32",), proxy_may_acknowledge=True
)


def test_behind_a_trusted_proxy_people_are_let_through_as_configured():
    found = visit(PROXIED, "10.0.0.5", x_forwarded_for="203.0.113.9", x_forwarded_proto="https")
    assert (found.role, found.secure, found.address) == (Role.DESK, True, "203.0.113.9")
    looking = PROXIED.__class__(listen="10.0.0.7", names=OPEN.names, trusted_proxy=("10.0.0.5/32",))
    assert visit(looking, "10.0.0.5").role is Role.VIEWER


def test_whoever_comes_past_the_proxy_is_refused():
    with pytest.raises(Refused, match="Not this way"):
        visit(PROXIED, "203.0.113.9")
    # What they say of themselves counts for nothing.
    with pytest.raises(Refused):
        visit(PROXIED, "203.0.113.9", x_forwarded_for="10.0.0.5")


def test_a_proxy_grants_nothing_where_there_is_a_password():
    values = BoardValues(
        names=OPEN.names, password_hash=quick("desk word"), trusted_proxy=("10.0.0.5/32",)
    )
    assert visit(values, "10.0.0.5").role is Role.NOBODY
    assert visit(values, "127.0.0.1").role is Role.NOBODY


def test_what_stands_before_the_nearest_proxy_may_be_invented():
    found = visit(PROXIED, "10.0.0.5", x_forwarded_for="198.51.100.1, 203.0.113.9, 10.0.0.5")
    assert found.address == "203.0.113.9"
    assert visit(PROXIED, "10.0.0.5", x_forwarded_for="nonsense").address == "10.0.0.5"


def test_the_cookie_goes_over_encrypted_ways_only_where_there_is_one():
    values = BoardValues(password_hash=quick("desk word"), trusted_proxy=("127.0.0.1/32",))
    with served(values) as here:
        browser = here.browser(headers={"X-Forwarded-Proto": "https", "X-Forwarded-For": "::1"})
        assert browser.log_in("desk word").cookies[COOKIE]["secure"]


def test_figures_are_a_name_only_where_others_may_call():
    open_to_all = BoardValues(listen="0.0.0.0", password_hash=quick("desk word"))  # noqa: S104
    assert Access(open_to_all).visitor("10.0.0.9", {"host": "10.0.0.7:8460"}, {}, NOW)
    with pytest.raises(Refused, match="Not by this name"):
        Access(open_to_all).visitor("10.0.0.9", {"host": "rebound.example"}, {}, NOW)
    with pytest.raises(Refused, match="Not by this name"):
        Access(BoardValues()).visitor("127.0.0.1", {"host": ""}, {}, NOW)


# --- rates -----------------------------------------------------------------------------


def test_what_is_allowed_comes_back_with_time():
    allowance = Allowance(Rate(2, 0.5))
    assert [allowance.take("a", 0.0) for _ in range(3)] == [True, True, False]
    assert allowance.take("b", 0.0)
    assert not allowance.take("a", 1.0)
    assert allowance.take("a", 2.5)


def test_addresses_are_forgotten_before_they_fill_the_memory():
    allowance = Allowance(Rate(2, 0.5))
    for number in range(10_000):
        allowance.take(str(number), 0.0)
    assert len(allowance._left) <= 4_096


def test_who_has_many_addresses_counts_as_one():
    assert counted_as("2001:db8::1") == counted_as("2001:db8::ffff:1")
    assert counted_as("2001:db8::1") != counted_as("2001:db8:0:1::1")
    assert counted_as("::ffff:192.0.2.1") == counted_as("192.0.2.1") == "192.0.2.1"
