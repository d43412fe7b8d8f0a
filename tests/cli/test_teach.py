"""`teach`: a sheet for a class, by gear and wing or by a field's own taxi legs."""

import json
import re
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from tests.board.chromium import chromium, sheets
from tests.teaching.printed import texts_of
from windwatch.clock import utc_now

GEAR = ("teach", "--gear", "nosewheel")
WIND = "28022G33KT 240V310"


@pytest.fixture
def field(root, tmp_path, monkeypatch):
    """The demo's field; a test fills its recording with reports of just now."""
    shutil.copytree(root / "config", tmp_path / "config")
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "config" / "demo.toml"
    text = path.read_text().replace("../recorded_reports/front_day.txt", "../live.txt")
    path.write_text(text)

    def fill(*reports):
        lines = []
        for station, age, blowing in reports:
            at = utc_now() - timedelta(minutes=age)
            lines.append(
                f"{at + timedelta(seconds=30):%Y-%m-%dT%H:%M:%SZ} METAR {station} {at:%d%H%M}Z "
                f"{blowing} 10SM CLR 20/10 A2990"
            )
        (tmp_path / "live.txt").write_text("\n".join(lines))
        return "config/demo.toml"

    return fill


@pytest.fixture
def made(run, tmp_path, monkeypatch):
    """Make a sheet in an empty folder and read it."""
    monkeypatch.chdir(tmp_path)

    def page(*args):
        result = run(*args)
        assert result.exit_code == 0, result.output
        return Path("teaching-sheet.html").read_text("utf-8")

    return page


# --- by gear and wing ------------------------------------------------------------------


def test_gear_and_wing_make_eight_winds_of_a_strength_that_is_said(made, run, flat, tmp_path):
    page = made("teach", "--gear", "tailwheel", "--wing", "low")
    assert page.count('<article class="question"') == page.count('<article class="answer"') == 8
    assert "Supposed strength 15 kt" in page
    said = flat(run("teach", "--gear", "tailwheel", "--force").stdout)
    assert "Teaching sheet, 8 questions: Tailwheel aeroplane, high wing." in said
    assert said.endswith("teaching-sheet.html")


def test_a_wind_makes_the_headings_of_taxi_with_the_same_answers(answer, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    args = ("--gear", "tailwheel", "--wind", "24018G30KT")
    taught = answer("teach", *args)["questions"]
    card = answer("taxi", *args)["card"]
    assert [each["heading_true_deg"] for each in taught] == [r["heading_true_deg"] for r in card]
    for question, row in zip(taught, card, strict=True):
        assert question["answer"] == {k: v for k, v in row.items() if k != "heading_true_deg"}


def test_one_heading_is_one_question_with_the_answer_of_taxi(answer, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    args = ("--gear", "tailwheel", "--wind", "24018KT", "--heading-true", "180")
    [question] = answer("teach", *args)["questions"]
    assert question["answer"] == answer("taxi", *args)
    assert list(tmp_path.iterdir()) == [], "JSON alone writes no file"


def test_a_spoken_wind_is_asked_in_magnetic_headings(answer, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    found = answer("teach", "--gear", "nosewheel", "--wind-magnetic", "240 at 18")
    assert found["questions"][1]["heading_magnetic_deg"] == 45
    assert found["questions"][1]["heading_true_deg"] is None


def test_a_shuffle_is_said_and_keeps_the_answers_with_their_questions(answer, tmp_path):
    out = str(tmp_path / "sheet.html")
    plain = answer(*GEAR)["questions"]
    mixed = answer(*GEAR, "--shuffle", "tuesday", "--out", out)
    assert mixed["file"] == out
    assert mixed["order"] == "tuesday"
    by_name = {each["name"]: each["answer"] for each in plain}
    assert {each["name"]: each["answer"] for each in mixed["questions"]} == by_name
    assert [each["name"] for each in mixed["questions"]] != list(by_name)
    assert "Shuffle: tuesday." in Path(out).read_text("utf-8")


# --- by a field ------------------------------------------------------------------------


def test_a_field_asks_its_own_legs_in_the_wind_that_was_just_observed(run, field, flat):
    result = run("teach", field(("XLKS", 5, "31018KT")), "--aircraft", "X-WREN")
    assert result.exit_code == 0, result.output
    page = flat(Path("teaching-sheet.html").read_text("utf-8"))
    for leg in ("apron to hold 28", "apron to hold 1", "north taxiway to hold 19"):
        assert f"{leg[0].upper()}{leg[1:]}" in page
    assert "Observed by XLKS, " in page
    assert "Wind from 310° true, 18 kt" in page
    assert f"{utc_now():%Y-}" in page
    assert "X-WREN" in page
    assert "X-LARK" not in page
    assert not list(Path().glob("*.db")), "nothing is stored"


def test_the_legs_are_answered_as_now_answers_them(run, answer, field, flat):
    config = field()
    shown = flat(run("now", config, "--wind", WIND).stdout)
    found = answer("teach", config, "--wind", WIND)
    assert found["about"] == "XLKS Larkspur"
    for question in found["questions"]:
        held = question["answer"]
        left, right = held["ailerons"]["left"], held["ailerons"]["right"]
        names = ", ".join(question["aircraft"])
        said = re.search(rf"{names}: ([^:]+: )", shown)
        assert said
        if left != right:
            assert f"left aileron {left}, right aileron {right}" in shown
        assert f"elevator {held['elevator']}" in shown


def test_a_supposed_wind_is_never_put_as_observed(run, field, flat):
    assert run("teach", field(), "--wind", "31018KT").exit_code == 0
    page = flat(Path("teaching-sheet.html").read_text("utf-8"))
    assert "Supposed, not observed." in page
    assert "Observed by" not in page


def test_a_wind_past_a_taxi_limit_is_for_the_classroom(run, field, flat):
    """The demo's X-WREN stops taxiing at 20 kt, X-LARK at 30 kt."""
    said = flat(run("teach", field(), "--wind", WIND).stdout)
    assert "X-WREN taxi limit: 33 kt > 20 kt." in said
    assert "Do not taxi in this: for the classroom." in said
    page = Path("teaching-sheet.html").read_text("utf-8")
    assert page.count("X-WREN taxi limit: 33 kt &gt; 20 kt.") == 2, "in both parts"
    assert "taxi limit" not in run("teach", field(), "--wind", "31018KT", "--force").stdout


def test_a_fall_back_station_is_named(run, field, flat):
    config = field(("XLKS", 400, "31018KT"), ("XBRN", 5, "30016KT"))
    assert run("teach", config).exit_code == 0
    page = flat(Path("teaching-sheet.html").read_text("utf-8"))
    assert "Observed by XBRN" in page
    assert "From the fall-back station XBRN: XLKS gives no fresh wind." in page


SILENT = [
    pytest.param((("XLKS", 400, "31018KT"),), "6 h 40 min old, too old to count", id="old"),
    pytest.param((("XLKS", 5, "/////KT"),), "no report with a wind came for XLKS", id="no wind"),
]


@pytest.mark.parametrize(("reports", "why"), SILENT)
def test_an_old_or_missing_wind_makes_no_sheet(run, field, flat, reports, why):
    result = run("teach", field(*reports))
    assert result.exit_code == 3
    said = flat(result.stderr)
    assert why in said
    assert "no sheet was made. Suppose a wind with --wind" in said
    assert not Path("teaching-sheet.html").exists()


def test_a_feed_that_does_not_answer_makes_no_sheet(run, field, flat):
    config = field()
    Path("live.txt").write_text("# nothing came\n")
    result = run("teach", config)
    assert result.exit_code == 3
    assert "no sheet was made. Suppose a wind with --wind" in flat(result.stderr)
    assert not Path("teaching-sheet.html").exists()


def test_a_supposed_report_without_a_wind_makes_no_sheet(run, field, flat):
    report = "METAR XLKS 221456Z AUTO 10SM CLR 20/10 A2990"
    result = run("teach", field(), "--report", report)
    assert result.exit_code == 3
    assert "has no wind, which is not calm" in flat(result.stderr)


def test_a_supposed_report_of_another_field_is_refused(run, root, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    report = "METAR XLKS 221456Z 31018KT 10SM CLR 20/10 A2990"
    config = str(root / "config" / "larkspur.toml")
    result = run("teach", config, "--airfield", "BURDOCK", "--report", report)
    assert result.exit_code == 2
    assert "no station of BURDOCK" in result.stderr


# --- files and refusals -------------------------------------------------------------------


def test_a_file_that_is_there_is_kept_without_force(run, tmp_path):
    out = tmp_path / "mine.html"
    out.write_text("my own")
    refused = run(*GEAR, "--out", str(out))
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    assert out.read_text() == "my own"
    assert run(*GEAR, "--out", str(out), "--force").exit_code == 0
    assert out.read_text("utf-8").startswith("<!DOCTYPE html>")
    assert list(tmp_path.iterdir()) == [out], "no draft is left"


REFUSED = [
    pytest.param((), "which aeroplane?", id="no gear"),
    pytest.param(("--gear", "tailwheel", "--heading-true", "90"), "which wind?", id="no wind"),
    pytest.param(("--gear", "tailwheel", "--aircraft", "X-LARK"), "--aircraft", id="aircraft"),
    pytest.param(("--gear", "tailwheel", "--out", "none/x.html"), "no folder none", id="folder"),
    pytest.param(("CONFIG", "--gear", "tailwheel"), "--gear does not go", id="both"),
    pytest.param(("CONFIG",), "which airfield? Add --airfield", id="several airfields"),
    pytest.param(("CONFIG", "--airfield", "XNIL"), "no airfield 'XNIL'", id="no such field"),
    pytest.param(("CONFIG", "--aircraft", "X-NIL"), "no aircraft 'X-NIL'", id="no such aircraft"),
    pytest.param(
        ("CONFIG", "--airfield", "XLKS", "--wind", "x"), "--wind", id="a wind that is none"
    ),
]


@pytest.mark.parametrize(("args", "says"), REFUSED)
def test_what_cannot_be_made_is_refused_with_2(run, root, flat, tmp_path, monkeypatch, args, says):
    monkeypatch.chdir(tmp_path)
    config = str(root / "config" / "larkspur.toml")
    result = run("teach", *(config if each == "CONFIG" else each for each in args))
    assert result.exit_code == 2
    assert says in flat(result.stderr)
    assert list(tmp_path.iterdir()) == []


def test_json_is_one_document_with_the_caution(run, tmp_path, monkeypatch, caution):
    monkeypatch.chdir(tmp_path)
    found = json.loads(run(*GEAR, "--json").stdout)
    assert set(found) == {
        "file", "about", "wind", "warnings", "order", "questions", "sources_are_for", "caution",
    }  # fmt: skip
    assert found["file"] is None
    assert found["caution"] == caution
    assert set(found["questions"][0]) == {
        "number", "name", "aircraft", "gear", "wing", "heading_true_deg", "heading_magnetic_deg",
        "approximate", "answer", "reasons",
    }  # fmt: skip
    assert set(found["questions"][0]["reasons"][0]) == {"part", "text", "source"}


# --- on paper -------------------------------------------------------------------------------

# Pages at most, on A4 and Letter: questions four a page, answers two, and the wall card.
# How many sheets at most: on Letter one pair fewer fits a sheet than on A4.
PAPER = [
    pytest.param(("--gear", "nosewheel"), 8, id="nosewheel high wing"),
    pytest.param(("--gear", "tailwheel", "--wing", "low", "--wind", "24018G30KT"), 7, id="tail"),
    pytest.param(("CONFIG", "--airfield", "XLKS", "--wind", WIND), 5, id="own legs"),
    pytest.param(("CONFIG", "--airfield", "XLKS", "--wind", "VRB08KT"), 3, id="variable"),
    pytest.param(("CONFIG", "--airfield", "XLKS", "--wind", "00000KT"), 3, id="calm"),
    pytest.param(("CONFIG", "--airfield", "XLKS", "--wind", "20004KT"), 5, id="light"),
]
# What a sheet of paper can hold beside its margins, and what may not be cut by its edge. [px]
HEIGHT = {"A4": (297 - 20) / 25.4 * 96, "Letter": (279.4 - 20) / 25.4 * 96}
WHOLE = ".pair, .answer, .end"


@pytest.mark.long
@pytest.mark.parametrize(("args", "most"), PAPER)
def test_on_paper_nothing_is_split_or_clipped(run, root, tmp_path, args, most):
    config = str(root / "config" / "larkspur.toml")
    out = tmp_path / "sheet.html"
    given = [config if each == "CONFIG" else each for each in args]
    assert run("teach", *given, "--out", str(out)).exit_code == 0
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 695, "height": 1000})
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(out.as_uri())
        page.emulate_media(media="print")
        heights = page.eval_on_selector_all(
            WHOLE, "all => all.map(one => one.getBoundingClientRect().height)"
        )
        card = page.eval_on_selector_all(
            ".wall svg", "all => all.map(one => one.getBoundingClientRect().height)"
        )
        wide = page.evaluate("document.documentElement.scrollWidth")
        for paper, height in HEIGHT.items():
            frame = page.eval_on_selector_all(
                ".part:first-child .running",
                "all => all.reduce((sum, one) => sum + one.getBoundingClientRect().height, 0)",
            )
            assert max(heights) < height - frame, f"each fits whole on {paper}"
            assert max(card, default=0) < height, "the wall card is a sheet of its own"
            pdf = page.pdf(format=paper)
            assert 2 <= sheets(pdf) <= most, paper
        assert wide <= 695
        assert asked == [out.as_uri()], "nothing else is asked for"


@pytest.mark.long
@pytest.mark.parametrize("paper", HEIGHT)
def test_every_printed_page_bears_the_caution_and_all_but_the_wall_card_the_wind(
    run, tmp_path, caution, paper
):
    out = tmp_path / "sheet.html"
    assert run(*GEAR, "--out", str(out)).exit_code == 0
    with chromium() as browser:
        page = browser.new_page()
        page.goto(out.as_uri())
        pages = texts_of(page.pdf(format=paper))
    assert len(pages) > 3
    assert all(caution.replace(" ", "") in text for text in pages)
    assert ["Supposedstrength15kt" in text for text in pages] == [
        *[True] * (len(pages) - 1),
        False,
    ]
    assert "wind15kt" in pages[-1], "the wall card says its own"
