"""Pictures in mails: painted the same everywhere, within a time and a size, or the words alone."""

import base64
import email
import email.policy
import json
import os
import re
import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import timedelta
from html import unescape
from pathlib import Path

import pytest

from tests.delivery.pictures_shown import a_card, a_field, parts_of, pixels_of
from tests.delivery.test_email import channel
from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.delivery import message as making
from windwatch.delivery import pictures
from windwatch.delivery.channels import Folder, MailAddress, send_now
from windwatch.delivery.folder import mail_folder
from windwatch.delivery.message import build_message, painted_for
from windwatch.delivery.pictures import FONTS, MOST_BYTES, PAINTED_WIDTH, Painter
from windwatch.drawings.svg import Drawing
from windwatch.drawings.theme import LIGHT
from windwatch.notices.bounded import Guard
from windwatch.notices.html import CONTROLS_HERE, FIELD_HERE
from windwatch.notices.outbox import new_delivery
from windwatch.notices.pictures import drawn

SENDER = "windwatch <wind@larkspur.example>"
OWNER = MailAddress("wren.owner@faraway.example", "owner of X-WREN")
PATIENT_S = 60.0
PICTURES = (a_field(), a_card())
WORDS = "XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22"
# However busy the machine is: what a test says of the time allows for its own start.
IN_TIME_S = 5.0


def with_places(content):
    html = f"<table>{FIELD_HERE}\n<tr><td>{WORDS}</td></tr>{CONTROLS_HERE}\n</table>"
    return replace(content, html=html)


CONTENT = replace(with_places(a_content()), pictures=PICTURES)


@pytest.fixture(scope="module")
def painter():
    return Painter(patience_s=PATIENT_S)


@pytest.fixture(scope="module")
def painted(painter):
    return painter.paint(PICTURES)


def built(painted, content=CONTENT, recipient=OWNER):
    delivery = new_delivery(a_notice(), content, "email")
    return build_message(delivery, SENDER, recipient, GUST_FRONT, painted)


def read(message):
    return email.message_from_bytes(bytes(message), policy=email.policy.default)


# --- painting ---------------------------------------------------------------------------


def test_a_picture_is_a_png_on_its_own_paper_with_its_words(painted):
    assert len(painted) == 2
    for picture, each in zip(PICTURES, painted, strict=True):
        width, height, colours = pixels_of(each.png)
        assert width == PAINTED_WIDTH
        assert height == pytest.approx(width * each.height / each.width, abs=1)
        assert bytes.fromhex(LIGHT.paper[1:]) in colours
        assert len(colours) > 5, "the first line is written"
        assert each.alt == drawn(picture).alternative
    assert "28 near: crosswind 20 of 24 kt" in painted[0].alt
    assert "turn left, forward" in painted[1].alt.lower()


def texts(words, fonts=FONTS):
    """Paint some texts as the painting process does; return their PNG."""
    asked = {
        "library": str(Path(pictures.importlib.util.find_spec("resvg_py").origin).parent.parent),
        "fonts": fonts,
        "paper": LIGHT.paper,
        "drawings": [
            {
                "svg": '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 30" width="60" '
                f'height="30"><text x="8" y="22" font-size="20" font-family="system-ui, '
                f'sans-serif" font-weight="{weight}">{word}</text></svg>',
                "width": 60,
            }
            for word, weight in words
        ],
    }
    ended = subprocess.run(
        [sys.executable, "-I", "-S", pictures.__file__.replace("pictures.py", "painting.py")],
        input=json.dumps(asked).encode(),
        capture_output=True,
        check=True,
        env={},
    )
    return [base64.b64decode(each) for each in json.loads(ended.stdout)]


def test_letters_come_from_our_own_files_and_from_none_of_the_machine():
    [none, nothing] = texts([("Kt", 400), ("", 400)], fonts=[])
    assert none == nothing, "without our files no letter is drawn, whatever the machine has"
    [regular, bold, nothing] = texts([("Kt", 400), ("Kt", 700), ("", 400)])
    assert len({regular, bold, nothing}) == 3


@pytest.mark.long
@pytest.mark.parametrize("weight", [400, 700])
def test_every_letter_that_a_drawing_or_a_name_may_hold_is_there(weight):
    latin = "".join(map(chr, (*range(0x21, 0x7F), *range(0xA1, 0x180))))
    letters = [letter for letter in latin if letter not in "<&\xad"]
    letters += list("ΑΩαωЖяїҐ°–—…·×→←↑↓≥≤−'‘’“”„€‰№")
    [missing, *found] = texts([("\ue000", weight), *((letter, weight) for letter in letters)])
    lacking = [letter for letter, png in zip(letters, found, strict=True) if png == missing]
    assert lacking == []


def test_the_fonts_bear_a_licence_and_say_where_they_come_from():
    folder = Path(FONTS[0]).parent
    assert all(Path(font).is_file() for font in FONTS)
    assert "Permission is hereby granted, free of charge" in (folder / "LICENSE").read_text()
    assert "DejaVu" in (folder / "PROVENANCE.md").read_text()


def test_contacts_who_hear_the_same_have_it_painted_once(tmp_path):
    counted = tmp_path / "runs"
    here = pictures.__file__.replace("pictures.py", "painting.py")
    program = (
        f"open({str(counted)!r}, 'a').write('x')\n"
        f"exec(compile(open({here!r}).read(), 'painting', 'exec'))"
    )
    painter = Painter([sys.executable, "-I", "-S", "-c", program], patience_s=PATIENT_S)
    found = []
    threads = [
        threading.Thread(target=lambda: found.append(painter.paint(PICTURES))) for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found[0]) == 2
    assert found == [found[0]] * 6
    assert counted.read_text() == "x"


# --- what fails -------------------------------------------------------------------------


def answering(said):
    """A painter whose process says something else."""
    return [sys.executable, "-I", "-S", "-c", f"print({said!r}, end='')"]


@pytest.mark.promise(20)
@pytest.mark.fault("F54")
@pytest.mark.parametrize(
    "command",
    [
        pytest.param([sys.executable, "-I", "-S", "-c", "import time; time.sleep(60)"], id="hangs"),
        pytest.param([sys.executable, "-I", "-S", "-c", "while True: pass"], id="loops"),
        pytest.param([sys.executable, "-c", "import os; os.abort()"], id="dies"),
        pytest.param(["/nowhere/python"], id="is not there"),
        pytest.param(answering("no JSON"), id="says nonsense"),
        pytest.param(answering('["bm8gcG5n", "bm8gcG5n"]'), id="paints no PNG"),
        pytest.param(answering('["%"]'), id="paints too few"),
        pytest.param(answering("[null, null]"), id="cannot paint them"),
    ],
)
def test_f54_where_painting_fails_the_mail_says_all_in_words_within_5_s(
    command, monkeypatch, caplog
):
    monkeypatch.setattr(making, "PAINTER", Painter(command, patience_s=0.5))
    delivery = new_delivery(a_notice(), CONTENT, "email")
    began = time.monotonic()
    message = read(
        build_message(delivery, SENDER, OWNER, GUST_FRONT, painted_for(delivery, OWNER, GUST_FRONT))
    )
    assert time.monotonic() - began < IN_TIME_S
    plain, html, beside = parts_of(message)
    assert beside == []
    assert "<img" not in html.get_content()
    assert WORDS in plain.get_content()
    assert WORDS in unescape(html.get_content())
    assert [each.levelname for each in caplog.records if each.name == pictures.__name__]


@pytest.mark.promise(20)
@pytest.mark.fault("F54")
def test_f54_after_painting_took_too_long_nobody_waits_again_for_a_minute():
    now = 0.0
    painter = Painter(
        [sys.executable, "-c", "import time; time.sleep(60)"], 0.3, monotonic=lambda: now
    )
    assert painter.paint(PICTURES) == ()
    began = time.monotonic()
    assert painter.paint((a_field("XBRN"),)) == ()
    assert time.monotonic() - began < 0.2
    now = 61.0
    began = time.monotonic()
    assert painter.paint((a_field("XBRN"),)) == ()
    assert time.monotonic() - began >= 0.3, "it is tried again"


def loops(_picture):
    while True:
        pass


def raises(_picture):
    raise RuntimeError("the pencil broke")


def huge(_picture):
    return Drawing("<svg>" + "x" * 50_000_000, "huge", "huge", 10, 10)


@pytest.mark.promise(20)
@pytest.mark.fault("F54")
@pytest.mark.parametrize("draw", [loops, raises, huge])
def test_f54_a_drawing_that_raises_loops_or_makes_50_mb_costs_itself_alone(draw):
    def some(picture):
        return draw(picture) if picture.id == PICTURES[1].id else drawn(picture)

    began = time.monotonic()
    found = Painter(draw=some, patience_s=PATIENT_S).paint(PICTURES)
    assert [each.id for each in found] == [PICTURES[0].id]
    assert time.monotonic() - began < IN_TIME_S


def test_a_drawing_that_was_slow_once_and_those_beside_it_are_drawn_again_later():
    slow = [True]

    def draw(picture):
        while slow[0] and picture == PICTURES[0]:
            pass
        return drawn(picture)

    moment = [0.0]
    painter = Painter(patience_s=PATIENT_S, draw=draw, monotonic=lambda: moment[0])
    painter._guard = Guard(0.2, 0.0)
    assert len(painter.paint(PICTURES)) < 2
    slow[0] = False
    assert len(painter.paint(PICTURES)) == 2


@pytest.mark.promise(11)
def test_nobody_waits_for_a_place_to_paint_unless_nobody_waits_for_the_mail(tmp_path):
    waits = "import sys, time; time.sleep(1.2); print('[null, null]')"
    painter = Painter([sys.executable, "-I", "-S", "-c", waits], patience_s=PATIENT_S)
    crowd = [(a_field(f"X{n}"), a_card(f"X{n}")) for n in range(pictures.AT_ONCE + 1)]
    busy = [threading.Thread(target=painter.paint, args=(each,)) for each in crowd[:-1]]
    for thread in busy:
        thread.start()
    while painter._busy < pictures.AT_ONCE:
        time.sleep(0.01)
    began = time.monotonic()
    assert painter.paint(crowd[-1]) == ()
    assert time.monotonic() - began < 0.5
    for thread in busy:
        thread.join()


def test_where_the_library_is_not_to_be_had_mails_are_words(monkeypatch):
    monkeypatch.setattr(pictures.importlib.util, "find_spec", lambda _name: None)
    painter = Painter(["/nowhere/python"])
    assert painter.paint(PICTURES) == ()
    assert painter.paint(PICTURES) == ()


def test_pictures_beyond_the_size_of_a_mail_are_left_out_the_least_needed_first():
    large = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1" + bytes(MOST_BYTES * 2 // 5)
    painter = Painter(answering(json.dumps([base64.b64encode(large).decode()] * 3)))
    three = (a_field(), a_card(), a_card("apron to hold 1"))
    # What the test prints is megabytes: more than an argument holds.
    painter._asked = lambda _asked, _patience: [base64.b64encode(large).decode()] * 3
    assert [each.id for each in painter.paint(three)] == [each.id for each in three[:2]]


@pytest.mark.guard("secrets")
def test_the_painting_process_gets_none_of_our_secrets(tmp_path, monkeypatch):
    monkeypatch.setenv("WINDWATCH_MAIL_PASSWORD", "open-sesame-9431")
    seen = tmp_path / "environment"
    program = f"import os\nopen({str(seen)!r}, 'w').write(repr(dict(os.environ)))\nprint('[]')"
    Painter([sys.executable, "-I", "-S", "-c", program], patience_s=PATIENT_S).paint(PICTURES)
    assert "open-sesame" not in seen.read_text()
    assert "open-sesame" in repr(dict(os.environ))


# --- in the mail ------------------------------------------------------------------------


def test_html_and_its_pictures_are_one_related_part(painted):
    plain, html, beside = parts_of(read(built(painted)))
    assert plain.get_content().startswith(WORDS)
    shown = re.findall(r'<img src="cid:([^"]+)"', html.get_content())
    assert [part["Content-ID"] for part in beside] == [f"<{cid}>" for cid in shown]
    assert len(set(shown)) == 2
    for part, each in zip(beside, painted, strict=True):
        assert part.get_content_type() == "image/png"
        assert part.get_content_disposition() == "inline"
        assert part.get_content() == each.png
    assert [part.get_filename() for part in beside] == ["field-1.png", "controls-2.png"]


def test_every_picture_says_in_words_all_that_it_shows(painted):
    _, html, _ = parts_of(read(built(painted)))
    said = [unescape(alt) for alt in re.findall(r' alt="([^"]+)"', html.get_content())]
    assert said == [each.alt for each in painted]
    # The field stands before the figures, the controls beside their words.
    assert html.get_content().index("cid:") < html.get_content().index("<tr><td>XLKS")
    assert html.get_content().rindex("cid:") > html.get_content().index("<tr><td>XLKS")


def test_no_picture_needs_more_than_a_telephone_has(painted):
    _, html, _ = parts_of(read(built(painted)))
    for tag in re.findall(r"<img [^>]+>", html.get_content()):
        assert int(re.search(r' width="(\d+)"', tag)[1]) <= 340
        assert "width:100%" in tag
        assert "height:auto" in tag
        # In a dark mail, and where the picture is not loaded, its words stand on paper.
        assert f"background:{LIGHT.paper}" in tag


def test_a_repeat_is_the_same_message_byte_for_byte(painted, painter):
    again = Painter(patience_s=PATIENT_S).paint(PICTURES)
    assert bytes(built(painted)) == bytes(built(again)) == bytes(built(painter.paint(PICTURES)))


def test_no_boundary_begins_as_another_one_does(painted):
    message = built(painted)
    outer = message.get_boundary()
    [inner] = {part.get_boundary() for part in message.walk() if part.is_multipart()} - {outer}
    assert not inner.startswith(outer)
    assert not outer.startswith(inner)


@pytest.mark.parametrize("why", ["plain", "bare facts", "not wanted", "none", "late in a crowd"])
def test_some_mails_have_none(why, monkeypatch):
    monkeypatch.setattr(making, "PAINTER", Painter(["/nowhere/python"]))
    asked = []
    making.PAINTER.paint = lambda found, _patience: asked.extend(found) or ()
    delivery = new_delivery(a_notice(), CONTENT, "email")
    recipient = OWNER
    match why:
        case "plain":
            delivery = replace(delivery, plain=True)
        case "bare facts":
            delivery = replace(delivery, content=replace(CONTENT, html=""))
        case "late in a crowd":
            delivery = replace(delivery, created_at=GUST_FRONT - timedelta(seconds=2))
        case "not wanted":
            recipient = replace(OWNER, pictures=False)
        case _:
            delivery = replace(delivery, content=replace(CONTENT, pictures=()))
    assert painted_for(delivery, recipient, GUST_FRONT) == ()
    assert asked == []


HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)> <!--field--> ]]> &lt; \u202e'


@pytest.mark.guard("mail")
def test_a_hostile_name_stays_words_in_picture_and_mail(painter):
    hostile = (a_field(HOSTILE, HOSTILE), a_card(HOSTILE, HOSTILE))
    found = painter.paint(hostile)
    assert len(found) == 2, "it is drawn"
    content = replace(CONTENT, pictures=hostile)
    _, html, beside = parts_of(read(built(found, content)))
    tags = {tag.lower() for tag in re.findall(r"<(\w+)", html.get_content())}
    assert tags <= {"table", "tr", "td", "div", "img", "span"}
    assert len(re.findall("<img", html.get_content())) == len(beside) == 2
    for picture in hostile:
        assert "<script" not in drawn(picture).svg


def test_a_mail_server_is_handed_the_pictures(mail, painted, monkeypatch):
    monkeypatch.setattr(making, "PAINTER", Painter(patience_s=PATIENT_S))
    delivery = new_delivery(a_notice(), CONTENT, "email")
    send_now(channel(mail), delivery, GUST_FRONT)
    send_now(channel(mail, replace(OWNER, pictures=False)), delivery, GUST_FRONT)
    with_them, without = mail.messages
    _, html, beside = parts_of(with_them)
    assert [part.get_content() for part in beside] == [each.png for each in painted]
    assert all(f"cid:{part['Content-ID'][1:-1]}" in html.get_content() for part in beside)
    assert parts_of(without)[2] == []


@pytest.mark.usefixtures("painted_mails")
def test_a_folder_is_handed_the_same(tmp_path, painted):
    delivery = new_delivery(a_notice(), CONTENT, "folder")
    kept = mail_folder(Folder(tmp_path), SENDER, OWNER, PATIENT_S)
    kept.send(delivery, GUST_FRONT)
    [file] = tmp_path.glob("*.eml")
    found = email.message_from_bytes(file.read_bytes(), policy=email.policy.default)
    assert [part.get_content() for part in parts_of(found)[2]] == [each.png for each in painted]
