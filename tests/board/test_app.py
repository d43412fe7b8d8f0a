"""The routes: every answer's headers, and that to look changes nothing."""

import json

import pytest

from tests.board.fakes import EPISODE, FakeSource, served
from windwatch.board.app import PAGES
from windwatch.board.limits import DEEDS, MOST_BODY

pytestmark = pytest.mark.guard("board")

SAMPLES = {"{id}": "XLKS", "{aircraft}": "X-LARK", "{token}": "abc", "{name}": "board.0123.css"}


def filled(path):
    for name, value in SAMPLES.items():
        path = path.replace(name, value)
    return path


LOOKS = [
    *(filled(path) for path in PAGES),
    *(filled("/api" + path.rstrip("/")) for path in PAGES),
    "/api/openapi.json", "/healthz", "/static/board.0123.css",
]  # fmt: skip


@pytest.fixture(scope="module")
def one_server():
    with served() as found:
        yield found


@pytest.fixture
def here(one_server):
    return one_server.as_new()


@pytest.mark.parametrize(
    ("path", "status"),
    [*((path, 200) for path in LOOKS), ("/none", 404), ("/field/NONE", 404), ("/take-note/x", 404)],
)
def test_every_answer_lets_nothing_in_from_elsewhere(here, path, status):
    answer = here.browser().get(path)
    assert answer.status == status
    policy = dict(
        part.partition(" ")[::2] for part in answer.headers["content-security-policy"].split("; ")
    )
    assert policy == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data:",
        "connect-src": "'self'",
        "manifest-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
    }
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["x-frame-options"] == "DENY"
    assert "camera=()" in answer.headers["permissions-policy"]
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert "server" not in answer.headers
    assert "access-control-allow-origin" not in answer.headers


def test_pages_are_kept_nowhere_and_files_for_ever(here):
    browser = here.browser()
    assert browser.get("/about").headers["cache-control"] == "no-store"
    assert browser.get("/api/about").headers["cache-control"] == "no-store"
    assert "immutable" in browser.get("/static/board.0123.css").headers["cache-control"]


def test_a_failure_of_ours_has_the_headers_too_and_tells_nothing(here, caplog):
    answer = here.browser().get("/field/BUG")
    assert answer.status == 500
    assert "content-security-policy" in answer.headers
    assert "secret.example" not in answer.body
    assert "ZeroDivisionError" not in answer.body
    assert "board_failed" in caplog.text


def test_to_look_changes_nothing(here):
    # A mail scanner or preview opens whatever it finds, and asks in other ways besides.
    for path in [*LOOKS, f"/episodes/{EPISODE}/acknowledge", "/logout", "/login"]:
        for method in ("GET", "HEAD", "OPTIONS", "PUT", "DELETE"):
            here.browser().ask(method, path)
    assert here.source.noted == []


def test_the_same_values_for_people_and_for_machines(here):
    browser = here.browser()
    assert json.loads(browser.get("/api/field/XLKS?units=km/h").body)["unit"] == "km/h"
    assert "unit=&#x27;kt&#x27;" in here.browser().get("/field/XLKS").body
    assert json.loads(browser.get("/api").body)["page"] == "overview"
    assert json.loads(browser.get("/api/field/NONE").body)["problem"] == "Not here"


def test_a_chosen_unit_is_remembered(here):
    browser = here.browser()
    assert "unit=&#x27;m/s&#x27;" in browser.get("/field/XLKS?units=m/s").body
    assert "unit=&#x27;m/s&#x27;" in browser.get("/field/XBRN").body
    assert "unit=&#x27;kt&#x27;" in here.browser().get("/field/XLKS?units=furlongs").body


def test_where_one_field_is_watched_its_page_is_the_first():
    with served(source=FakeSource(sole="XLKS")) as here:
        answer = here.browser().get("/?units=mph")
        assert (answer.status, answer.headers["location"]) == (303, "/field/XLKS?units=mph")


def test_a_page_is_made_once_for_all_who_ask_and_anew_at_a_change(here):
    for _ in range(5):
        here.browser().get("/field/XLKS")
    assert len(here.source.made) == 1
    here.source.number += 1
    # The version is looked at no oftener than this.
    here.board.live._looked_at_s = float("-inf")
    here.browser().get("/field/XLKS")
    assert len(here.source.made) == 2


def test_a_store_that_cannot_be_read_is_said():
    with served(source=FakeSource(broken=True)) as here:
        answer = here.browser().get("/field/XLKS")
        assert answer.status == 503
        assert "nothing is known, which is not calm" in answer.body
        assert here.browser().get("/healthz").status == 503


# --- taking note --------------------------------------------------------------------


def acknowledge(browser, token, **more):
    fields = {"csrf": token, "by": "desk", "note": "two moved", **more}
    return browser.post(f"/episodes/{EPISODE}/acknowledge", fields)


def test_the_desk_takes_note_and_comes_back_to_where_it_was(here):
    browser = here.browser()
    token = browser.form("/field/XLKS")
    answer = acknowledge(browser, token, back="/field/XLKS?for=a")
    assert answer.status == 303
    assert answer.headers["location"].startswith("/field/XLKS?for=a&done=")
    assert here.source.noted == [((EPISODE,), "desk", "two moved")]
    assert "Noted. Its reminders stop" in browser.get(answer.headers["location"]).body


def test_nobody_is_told_that_something_is_done_by_an_address_alone(here):
    assert "Noted" not in here.browser().get("/field/XLKS?done=noted").body


@pytest.mark.parametrize("token", ["", "x", "windwatch-form-token-here", "é"])
def test_a_form_without_its_token_does_nothing(here, token):
    browser = here.browser()
    browser.form("/field/XLKS")
    answer = acknowledge(browser, token)
    assert answer.status == 403
    assert "nothing was done" in answer.body
    assert here.source.noted == []


def test_a_token_serves_only_the_browser_that_it_was_given_to(here):
    token = here.browser().form("/field/XLKS")
    assert acknowledge(here.browser(), token).status == 403
    assert here.source.noted == []


@pytest.mark.parametrize(
    "header",
    [{"Sec_Fetch_Site": "cross-site"}, {"Sec_Fetch_Site": "same-site"},
     {"Origin": "https://elsewhere.example"}],
)  # fmt: skip
def test_a_form_sent_by_another_site_does_nothing(here, header):
    browser = here.browser()
    token = browser.form("/field/XLKS")
    fields = {"csrf": token, "by": "desk"}
    assert browser.post(f"/episodes/{EPISODE}/acknowledge", fields, **header).status == 403
    assert here.source.noted == []


def test_a_browser_that_hides_where_a_form_comes_from_is_let_in(here):
    # With our referrer policy browsers send Origin: null (Fetch standard, 3.2).
    browser = here.browser()
    token = browser.form("/field/XLKS")
    own = {"Origin": "null", "Sec_Fetch_Site": "same-origin"}
    fields = {"csrf": token, "by": "desk"}
    assert browser.post(f"/episodes/{EPISODE}/acknowledge", fields, **own).status == 303


def test_what_people_type_comes_as_one_line_of_visible_text(here):
    browser = here.browser()
    token = browser.form("/field/XLKS")
    acknowledge(browser, token, by="desk\r\nBcc: x\u202e", note="n" * 900)
    [(_, by, note)] = here.source.noted
    assert by == "desk Bcc: x<U+202E>"
    assert len(note) == 300


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "x"]
)
def test_nobody_is_sent_elsewhere(here, back):
    browser = here.browser()
    answer = acknowledge(browser, browser.form("/field/XLKS"), back=back)
    assert answer.headers["location"].startswith("/?done=")


def test_an_episode_that_is_not_there_cannot_be_noted(here):
    browser = here.browser()
    token = browser.form("/field/XLKS")
    assert browser.post("/episodes/none/acknowledge", {"csrf": token}).status == 404


# --- sizes and rates ------------------------------------------------------------------


def test_what_is_too_large_is_refused_unread(here):
    browser = here.browser()
    token = browser.form("/field/XLKS")
    assert acknowledge(browser, token, note="n" * MOST_BODY).status == 413
    chunked = browser.ask(
        "POST", "/logout", iter([b"a" * 5_000, b"b" * 5_000]),
        Content_Type="application/x-www-form-urlencoded",
    )  # fmt: skip
    assert chunked.status == 413
    assert browser.get("/about?for=" + "x" * 3_000).status == 414
    assert browser.get("/about", X_Long="x" * 40_000).status == 431
    many = {f"f{n}": "" for n in range(40)}
    assert browser.post("/logout", many).status == 400


@pytest.mark.parametrize("kind", ["application/json", "multipart/form-data", "text/plain"])
def test_only_plain_forms_are_taken(here, kind):
    assert here.browser().post("/logout", {"csrf": "x"}, Content_Type=kind).status == 415


def test_deeds_have_a_rate(here):
    browser = here.browser()
    statuses = [browser.post("/logout", {}).status for _ in range(int(DEEDS.at_once) + 3)]
    assert statuses[0] == 403
    assert statuses[-1] == 429
    assert here.browser().get("/about").status == 200  # looking goes on


# --- names -----------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "10.0.0.9"])
def test_a_foreign_name_is_not_answered(here, host):
    # A page of that name could read ours, once its name leads here.
    answer = here.browser().get("/field/XLKS", Host=host)
    assert answer.status == 421
    assert "XLKS" not in answer.body


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST.:8460", "127.0.0.1:1", "[::1]:8460"])
def test_our_own_names_are_answered(here, host):
    assert here.browser().get("/about", Host=host).status == 200


def test_a_proxy_that_nobody_named_is_not_taken_for_this_machine(here):
    answer = here.browser().get("/about", X_Forwarded_For="203.0.113.9")
    assert answer.status == 403
    assert "trusted_proxy" in answer.body
