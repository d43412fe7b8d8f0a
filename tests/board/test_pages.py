"""The pages as HTML: what each says, what it never says, and that nothing in it runs."""

import re
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from tests.board import samples
from tests.board.shown import CROWDED
from windwatch.assessment.values import Mark
from windwatch.board import files, live, pages, pictures, words
from windwatch.board.faces import CSRF_HERE, Asked, LinkShown, Reader
from windwatch.board.pages import HtmlPages
from windwatch.drawings.theme import DARK, LIGHT, PRINT, declarations

PAGES = HtmlPages()
DESK = Reader(name="desk", may_acknowledge=True, logged_in=True, path="/field/XLKS")
LOOKER = Reader(login_offered=True, path="/field/XLKS")
LINK = LinkShown(
    valid=True, words="Pressing stops its reminders.", button=True, action="/take/abc",
    form="signed", contact="owner <of> X-WREN", subject="XLKS over", episodes=("tie-down: 41",),
)  # fmt: skip
ASKED = {
    "overview": Asked("overview"),
    "field": Asked("field", "XLKS"),
    "stale field": Asked("field", "XLKS"),
    "ramp card": Asked("card", "XLKS", "X-LARK"),
    "episode": Asked("episode", samples.EPISODES[0].id),
    "closed episode": Asked("episode", samples.CLOSED.id),
    "notices": Asked("notices"),
    "notice": Asked("notice", samples.NOTICES[1].id),
    "about": Asked("about"),
}


def made(name, reader=DESK):
    return PAGES.html(ASKED[name], samples.PAGES[name], reader)


def kiosk(values):
    return PAGES.html(Asked("kiosk", "XLKS"), values, DESK)


ALL = {name: made(name) for name in ASKED} | {
    "kiosk": kiosk(samples.FIELD),
    "stale kiosk": kiosk(samples.STALE_FIELD),
    "crowded kiosk": kiosk(CROWDED),
    "login": PAGES.login(LOOKER, "That was <not> it."),
    "link": PAGES.link(LINK),
    "problem": PAGES.problem(404, "Not here", "No such <page>."),
}


class Told(HTMLParser):
    """Elements with their attributes, and the text between them."""

    def __init__(self, html):
        super().__init__()
        self.elements = []
        self.text = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text.append(data)


def text_of(html):
    return " ".join(" ".join(Told(html).text).split())


@pytest.fixture(params=ALL)
def html(request):
    return ALL[request.param]


@pytest.mark.guard("board")
def test_nothing_in_a_page_runs_but_the_one_script(html):
    for tag, told in Told(html).elements:
        assert not [name for name in told if name.startswith("on") or name == "style"]
        assert tag not in {"style", "iframe", "object", "embed", "base"}
        if tag == "script":
            assert re.fullmatch(r"/static/live\.[0-9a-f]{12}\.js", told["src"])
        for name in ("href", "src", "action"):
            where = told.get(name) or ""
            assert where.startswith(("/", "#", "?", "data:,")) or not where
            assert not where.startswith("//")


@pytest.mark.guard("board")
def test_what_others_wrote_is_text(html):
    assert "<script>alert" not in html
    assert "<img" not in html
    assert "<not>" not in html
    assert "<page>" not in html
    assert "<of>" not in html


def test_the_hostile_report_is_shown_whole():
    for name in ("field", "episode", "notice"):
        assert samples.HOSTILE in text_of(ALL[name])


def test_nothing_is_called_what_it_cannot_be_known_to_be(html):
    for said in Told(html).text:
        assert not re.search(r"\bsafe|all clear|left within|!", said.lower())


def test_the_words_alone_promise_nothing():
    said = [value for name, value in vars(words).items() if name.isupper()]
    assert len(said) > 90
    assert not [line for line in said if re.search(r"safe|all clear|!", line)]


def test_headings_are_in_order_and_begin_with_the_one_highest(html):
    levels = [int(tag[1]) for tag, _ in Told(html).elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_no_name_is_given_twice_and_every_label_finds_its_field(html):
    found = Told(html).elements
    ids = [told["id"] for _, told in found if "id" in told]
    assert len(ids) == len(set(ids))
    for _, told in found:
        for name in ("for", "aria-labelledby", "aria-describedby"):
            assert name not in told or told[name] in ids
        if told.get("href", "").startswith("#"):
            assert told["href"][1:] in ids


@pytest.mark.parametrize("name", [n for n in ALL if n not in {"login", "link", "problem"}])
def test_the_caution_stands_under_every_page_and_times_are_local_and_utc(name):
    said = text_of(ALL[name])
    for line in samples.CAUTION:
        assert line in said
    assert "15:12 local (19:12Z)" in said


@pytest.mark.parametrize("mark", Mark)
def test_a_level_is_a_shape_and_a_word(mark):
    pattern = (
        rf'<span class="level level-{mark.value}[^>]*>'
        rf'<svg class="shape"[^>]*><use href="#level-{mark.value}"/></svg>'
        rf"<b>{mark.value}</b></span>"
    )
    found = re.findall(pattern, ALL["field"])
    # Wherever the shape is used, but for the headline, which begins with the word.
    uses = ALL["field"].count(f'href="#level-{mark.value}"')
    headline = 1 if mark is Mark.OVER else 0
    others = ALL["field"].count(f"<b>{words.NOT_KNOWN}</b>") + ALL["field"].count(
        f"<b>{words.NO_REPORT}</b>"
    )
    assert len(found) == uses - headline - (others if mark is Mark.UNKNOWN else 0)
    assert found
    assert f'id="level-{mark.value}"' in ALL["field"]


def test_what_to_do_stands_before_figures_and_evidence_last():
    said = text_of(ALL["field"])
    order = [
        samples.TO_DO.headline, words.NONE_REMAINS, "turn left, forward",
        words.LIMITS, words.HOLDS, words.PARKED, words.STRIP, words.EPISODES, words.SENT,
        words.STATIONS, words.COMPUTED, samples.CAUTION[0],
    ]  # fmt: skip
    places = [said.rindex(each) if each == words.HOLDS else said.index(each) for each in order[:4]]
    places += [said.rindex(each) for each in order[4:]]
    assert places == sorted(places)


def test_banners_stand_before_what_they_make_unknown():
    said = text_of(ALL["stale field"])
    assert said.index(samples.NOT_RUNNING.headline) < said.index(samples.TO_DO_UNKNOWN.headline)
    assert f"{words.GRAVE} {samples.NOT_RUNNING.headline}" in said
    assert "41 min ago" in said


def test_with_nothing_known_no_level_but_unknown_is_shown():
    assert set(re.findall(r"<b>(within|near|over|unknown)</b>", ALL["stale kiosk"])) == {"unknown"}
    for page in ("stale field", "stale kiosk"):
        assert "turn left" not in text_of(ALL[page])
    who = re.findall(r'class="answers.*?</ul>', ALL["stale field"], re.DOTALL)[0]
    assert set(re.findall(r"<b>(\w+)</b>", who)) == {"unknown"}


def test_a_failed_delivery_is_a_shape_and_a_word():
    for page in ("field", "notices", "notice", "episode"):
        assert re.search(
            rf'#sign-failed"/></svg>{words.FAILED}|#sign-failed"/></svg><b>{words.FAILED}',
            ALL[page],
        )
    assert "<b>1</b> reached nobody" in ALL["notices"]
    assert "550 5.1.1 no such mailbox &lt;script&gt;" in ALL["notice"]


@pytest.mark.guard("board")
def test_every_form_holds_the_readers_token_but_for_a_links():
    for name, page in ALL.items():
        forms = page.count("<form")
        assert page.count(f'name="csrf" value="{CSRF_HERE}"') == (0 if name == "link" else forms)
    assert ALL["link"].count('name="form" value="signed"') == 1


def test_who_may_only_look_gets_no_form():
    for name in ASKED:
        page = made(name, LOOKER)
        assert "<form" not in page
        assert 'href="/login?back=/field/XLKS"' in page or name == "kiosk"
    assert words.LOG_IN_TO_NOTE in made("episode", LOOKER)


def test_an_open_episode_can_be_noted_and_a_closed_one_not():
    assert f'action="/episodes/{samples.EPISODES[0].id}/acknowledge"' in ALL["episode"]
    assert 'value="desk"' in ALL["episode"]
    assert "/acknowledge" not in ALL["closed episode"]
    # On the board: the two of three that nobody has noted yet.
    assert ALL["field"].count("/acknowledge") == 2


def test_the_chosen_one_stands_first_with_the_controls_of_that_aircraft_alone():
    page = PAGES.html(Asked("field", "XLKS", subject="X-WREN/owner"), samples.FIELD, DESK)
    now = page.partition(f'id="{"picture-h"}"')[0]
    who = re.findall(r'class="who">([^<]+)', now)
    # The others follow, the worst first.
    assert who == ["X-WREN / owner", "X-LARK / student solo", "X-LARK / dual", "X-TERN / dual"]
    ways = text_of(re.findall(r'<ul class="ways">.*?</ul>', now, re.DOTALL)[0])
    assert "X-WREN" in ways
    assert "X-LARK" not in ways
    assert words.SHOW_ALL in now


def test_the_wall_shows_the_worst_and_counts_the_rest():
    page = ALL["crowded kiosk"]
    answers = re.findall(r'<ul class="answers">.*?</ul>', page, re.DOTALL)[0]
    rows = re.findall(r'<li data-key="who.*?</li>', answers, re.DOTALL)
    first = [re.findall(r"level-(\w+)\"/></svg>", each)[0] for each in rows]
    assert first == ["over"] * 4 + ["unknown"] * 4 + ["near"] * 4
    assert f"+4 {words.MORE_ON_BOARD}" in answers
    assert ALL["kiosk"].count("drawing-above") == len(samples.LEGS)
    assert "drawing-above" not in page


# --- times and addresses -----------------------------------------------------------------

NOON = datetime(2026, 9, 22, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0, "0 min ago"), (59.9, "59 min ago"), (60, "1 h 00 min ago"), (2879, "47 h 59 min ago"),
     (2880, "2 days ago"), (-5, "in 5 min")],
)  # fmt: skip
def test_ages_are_in_whole_minutes(minutes, said):
    assert pages.age(NOON - timedelta(minutes=minutes), NOON) == said


def test_a_moment_for_machines_is_utc():
    assert pages.iso(NOON.astimezone(samples.ZONE)) == "2026-09-22T12:00:00Z"


def test_names_in_addresses_stay_names():
    assert pages.address("field", "A/B ?#", "card", "X&Y") == "/field/A%2FB%20%3F%23/card/X%26Y"
    assert pages.chosen("XLKS", "X-LARK/student solo") == "/field/XLKS?for=X-LARK%2Fstudent+solo"


def test_another_unit_keeps_what_else_was_asked():
    assert pages.in_unit("/field/X?for=a%2Fb&units=kt", "m/s") == "?for=a%2Fb&units=m%2Fs"


# --- files -------------------------------------------------------------------------------


def test_files_bear_the_hash_of_what_they_hold():
    names = files.shipped()
    assert len(names) == 2
    css, js = PAGES.static(files.address("css")[8:]), PAGES.static(files.address("js")[8:])
    assert css.media_type == "text/css; charset=utf-8"
    assert js.media_type == "text/javascript; charset=utf-8"
    for name in ("board.css", "../pages.py", "board.000000000000.css", ""):
        assert PAGES.static(name) is None


def test_the_stylesheet_holds_the_colours_of_day_night_and_print():
    css = PAGES.static(files.address("css")[8:]).content.decode()
    for theme in (LIGHT, DARK, PRINT):
        assert declarations(theme) in css
    assert "http" not in css
    assert "@import" not in css


def test_the_script_and_the_stream_agree_on_the_heartbeat():
    js = PAGES.static(files.address("js")[8:]).content.decode()
    assert f"HEARTBEAT_MS = {int(live.HEARTBEAT_S * 1000):_};" in js
    assert "innerHTML" not in js
    assert "eval(" not in js


def test_every_shape_is_drawn_once_a_page():
    drawn = str(pictures.sprite())
    for name in ("level-within", "level-unknown", "sign-failed", "sign-taken", "sign-waiting"):
        assert ALL["field"].count(f'id="{name}"') == 1
        assert f'<symbol id="{name}"' in drawn
