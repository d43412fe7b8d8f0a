"""Mails with pictures in a real browser: on a telephone, by day and by night, and without them."""

import base64
from dataclasses import replace

import pytest

from tests.board.chromium import chromium
from tests.delivery.pictures_shown import a_card, a_field, parts_of
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.assessment.values import Mark
from windwatch.delivery.channels import MailAddress
from windwatch.delivery.message import build_message
from windwatch.delivery.pictures import PAINTED_WIDTH, Painter
from windwatch.notices.html import as_html
from windwatch.notices.outbox import new_delivery
from windwatch.notices.page import Page, Row, Section

pytestmark = pytest.mark.long

OWNER = MailAddress("wren.owner@faraway.example", "owner of X-WREN")
PAGE = Page(
    place="XLKS Larkspur",
    mark=Mark.OVER,
    headline="Over: tie-down X-WREN 41 kt > 22 kt, and 10 more",
    big="41 kt > 22 kt",
    times="observed 22 Sep 15:07 local (19:07Z); valid until 16:22 local (20:22Z)",
    sections=(
        Section("do", "What to do", (Row("Tie down X-WREN now."),)),
        Section("figures", "Figures and limits", (Row("41 kt > X-WREN 22 kt", mark=Mark.OVER),)),
        Section("taxi", "Controls while taxiing", (Row("turn left, forward", head="Apron"),)),
        Section("caution", "Caution", (Row("Advisory only."),)),
    ),
    footer=("To owner of X-WREN",),
)
LOOKED_AT = """() => ({
  wide: document.documentElement.scrollWidth,
  ground: getComputedStyle(document.body).backgroundColor,
  order: [...document.querySelectorAll("td, img")].map(each =>
    each.tagName == "IMG" ? "picture" : each.querySelector("td") ? "" : each.innerText.trim()),
  pictures: [...document.images].map(each => {
    const place = each.getBoundingClientRect();
    return {
      loaded: each.complete ? each.naturalWidth : 0,
      shown: place.width,
      squeezed: (place.width / place.height) / (each.naturalWidth / each.naturalHeight),
      paper: getComputedStyle(each).backgroundColor,
    };
  }),
})"""


@pytest.fixture(scope="module")
def browser():
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def mail():
    """The HTML as a mail program shows it, its pictures taken from beside it."""
    pictures = (a_field(), a_card())
    content = replace(a_content(), html=as_html(PAGE), pictures=pictures)
    painted = Painter(patience_s=60.0).paint(pictures)
    delivery = new_delivery(a_notice(), content, "email")
    message = build_message(delivery, "wind@larkspur.example", OWNER, GUST_FRONT, painted)
    _, html, beside = parts_of(message)
    shown = html.get_content()
    for part in beside:
        data = base64.b64encode(part.get_content()).decode()
        shown = shown.replace(f"cid:{part['Content-ID'][1:-1]}", f"data:image/png;base64,{data}")
    assert "cid:" not in shown
    return shown


@pytest.mark.parametrize("width", [360, 700])
@pytest.mark.parametrize(
    ("scheme", "ground"), [("light", "rgb(250, 248, 243)"), ("dark", "rgb(16, 23, 30)")]
)
def test_pictures_fit_and_keep_their_shape_and_their_paper(browser, mail, scheme, ground, width):
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page.set_content(mail)
    found = page.evaluate(LOOKED_AT)
    page.close()
    assert found["wide"] <= width
    assert found["ground"] == ground
    assert len(found["pictures"]) == 2
    for picture in found["pictures"]:
        assert picture["loaded"] == PAINTED_WIDTH
        assert 320 <= picture["shown"] <= min(width, 420)
        assert picture["squeezed"] == pytest.approx(1, abs=0.02)
        assert picture["paper"] == "rgb(250, 248, 243)"


def test_they_stand_after_what_to_do_and_beside_the_controls(browser, mail):
    page = browser.new_page(viewport={"width": 360, "height": 800})
    page.set_content(mail)
    order = [each for each in page.evaluate(LOOKED_AT)["order"] if each]
    page.close()
    told = [each.upper() for each in order]
    first = told.index("PICTURE")
    second = told.index("PICTURE", first + 1)
    assert told.index("TIE DOWN X-WREN NOW.") < first < told.index("FIGURES AND LIMITS")
    assert told.index("CONTROLS WHILE TAXIING") < second < told.index("CAUTION")
