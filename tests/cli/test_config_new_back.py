"""`config new`: the way back to an earlier question, and the last look before it is written."""

import io
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cli.config_made import LEAST, OFFLINE, REST, left_behind, written
from tests.cli.field_table import stations_now
from tests.servers.stations_server import StationsServer
from windwatch.cli.new_ask import Asker
from windwatch.settings import starting_read as read

pytestmark = pytest.mark.usefixtures("here")

FIELD = (
    "lks",
    "",
    "",
    "",
    "",
    "",
    "",
)  # airfield, it is, runways, zone, station, fall-backs, hours
LIMITS = [""] * 7


# --- back ------------------------------------------------------------------------------


def test_the_way_back_is_told_once_at_the_start(talk, flat):
    said = flat(talk(*FIELD, *REST, options=OFFLINE).stdout)
    assert said.count("back goes to the question before") == 1


def test_back_goes_to_the_question_before_and_offers_what_was_answered(talk, flat):
    result = talk(
        "lks", "", "", "UTC", "XBRN", "back", "back", "", "", "", "", *REST, options=OFFLINE
    )
    said = flat(result.stdout)
    assert said.count("Time zone [America/New_York]: UTC") == 1
    assert said.count("Station [XBRN]: back") == 1
    assert "Time zone [UTC]:" in said
    field = written()["airfield"][0]
    assert (field["time_zone"], field["station"]) == ("UTC", "XBRN")


def test_from_the_last_look_one_goes_back_and_what_is_changed_is_written(talk, flat):
    result = talk(
        *FIELD, *REST[:-2], "back", "back", "back", "back", "back", "back",
        "desk", "desk@larkspur.example", "ground", "", "", "", "yes", "no",
        options=OFFLINE,
    )  # fmt: skip
    assert "Contact [operations desk]: desk" in flat(result.stdout)
    (contact,) = written()["contact"]
    assert (contact["name"], contact["email"]) == ("desk", "desk@larkspur.example")
    assert contact["tell_about"] == {"runways": "none"}
    assert written()["feed"]["contact"] == "desk@larkspur.example"


def test_an_aircraft_that_was_begun_can_be_taken_back(talk):
    talk(
        *FIELD, "X-LARK", "", "", *LIMITS, "", "X-WREN", "tail", "back", "back", "no more",
        *REST[-9:], options=OFFLINE,
    )  # fmt: skip
    assert [craft["name"] for craft in written()["aircraft"]] == ["X-LARK"]


def test_another_gear_brings_other_figures_and_keeps_those_that_were_typed(talk, flat):
    result = talk(
        *FIELD, "X-LARK", "", "", "", "4", "back", "back", "back", "back", "tail", "", "", "",
        *LIMITS[2:], "", "", *REST[-9:], options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    assert "Crosswind, knots [12]:" in said
    assert "Crosswind, knots [8]:" in said
    limits = written()["aircraft"][0]["limits"]
    assert (limits["crosswind_kt"], limits["tailwind_kt"], limits["wind_kt"]) == (8, 4, 20)


def test_another_airfield_is_asked_about_anew_and_the_feed_once_a_place(talk, flat):
    with StationsServer(*stations_now()) as server:
        result = talk(
            "lks", "", "10=90/28=270", "", "XBRN", *["back"] * 5, "XBRN", "", "", "", "", "", "",
            *REST, options=("--feed-url", server.url, "--feed-network", "127.0.0.0/8"),
        )  # fmt: skip
        places = [url for url in server.asked if "bbox" in url]
    said = flat(result.stdout)
    assert "Fall-backs [none]: back Asking" not in said
    assert "Runways [10=90/28=270]: back" in said
    field = written()["airfield"][0]
    assert (field["id"], field["station"]) == ("XBRN", "XBRN")
    assert [end["name"] for end in field["runway"][0]["ends"]] == ["9", "27"]
    assert len(places) == 2
    assert len(set(places)) == 2


def test_before_the_first_question_there_is_none(talk, flat):
    result = talk("back", *FIELD, *REST[:-1], "BACK", "no", options=OFFLINE)
    assert flat(result.stdout).count("There is no question before this one.") == 2


def test_a_question_mark_explains_what_was_explained_before(talk, flat):
    result = talk(
        "?", *FIELD, "X-LARK", "", "", *LIMITS, "", "X-WREN", "", "", "?", *LIMITS, "", "", "",
        *REST[-8:-2], "", "?", *REST[-2:], options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    assert said.count("Which airfield? Type its identifier") == 2
    assert said.count("Largest wind across the runway; gusts count.") == 2
    assert "No: nothing is written." in said


WORDS = st.sampled_from(["back", "Back", "?", "", "left", "right", "rubbish"])


@settings(max_examples=200, deadline=None)
@given(typed=st.lists(WORDS, max_size=25))
def test_any_walk_there_and_back_comes_to_what_stands_at_its_end(typed):
    """Against a list that is shortened by each back: three turns, the third asked after a left."""
    known: list[str] = []
    kept: dict[int, str] = {}
    for word in typed:
        if len(known) == (3 if known[:1] == ["left"] else 2):
            break
        if word.lower() == "back":
            known = known[:-1]
            continue
        answer = word or kept.get(len(known), "right")
        if answer in {"left", "right"}:
            kept[len(known)] = answer
            known.append(answer)
    # What is missing is taken as it stands.
    while len(known) < (3 if known[:1] == ["left"] else 2):
        known.append(kept.get(len(known), "right"))

    asker = Asker(silent=False)

    def turn(number):
        return asker.ask(
            "Turn", lambda text: read.one_of(text, ("left", "right")), option="--turn",
            offered="right", about=str(number),
        )  # fmt: skip

    def turns():
        first = turn(0)
        return [first, turn(1), *([turn(2)] if first == "left" else [])]

    before = sys.stdin
    sys.stdin = io.StringIO("".join(f"{word}\n" for word in [*typed, "", "", "", ""]))
    try:
        assert asker.talk(turns) == known
    finally:
        sys.stdin = before


# --- the last look -----------------------------------------------------------------------


def test_what_is_to_be_written_is_shown_and_whose_each_limit_is(talk, flat):
    result = talk(
        "XALD", "", "", "", "XBRN", "", "7-20", "X-LARK", "", "", *LIMITS, "17", "",
        "student solo", *[""] * 4, "", "", "https://desk.larkspur.example/wind/4711", "last",
        "owner", "notices", "", "", "ops@larkspur.example", "no",
        options=("--elevation", "400", *OFFLINE), status=130,
    )  # fmt: skip
    said = flat(result.stdout)
    look = said[said.index("This is to be written to field.toml:") :]
    for part in (
        "XALD Alder Strip: 43.1, -76.3; 400 ft; America/New_York; flying from 07:00 to 20:00.",
        "approximate heading",
        "1/19 is doubtful:",
        "compare with a current chart.",
        "from XBRN, 16 NM away, 236° true, 610 ft higher",
        "X-LARK student solo 1/19 crosswind 6 4.8 student solo",
        "tailwind 5 4 X-LARK",
        "Crosswind demonstrated, not a limit: X-LARK 17 kt.",
        "Limits of X-LARK, student solo are in part figures to start with",
        'operations desk, by calls of "https://desk.larkspur.example/…": of runways only when',
        "windwatch's own troubles",
        "owner, by files in the folder notices: a limit crossed",
    ):
        assert part in look, part
    assert "4711" not in look, "what may be secret in an address is not shown"


def test_no_at_the_last_look_leaves_no_trace(talk, flat):
    result = talk(*FIELD, *REST[:-2], "no", options=OFFLINE, status=130)
    assert flat(result.stderr) == "Nothing was written."
    assert left_behind() == []


def test_what_could_not_be_used_is_said_before_it_is_written(talk, flat):
    result = talk(*FIELD, *REST[:-2], "yes", options=(*OFFLINE, "--feed-every", "30s"), status=2)
    said = flat(result.stdout)
    assert "It cannot be written so:" in said
    assert "more often than this public feed allows" in said
    assert '"yes" does not mend it; type back, or end with Ctrl-C' in said
    assert left_behind() == []


def test_where_the_file_came_to_be_there_the_answers_go_into_another_one(talk, here, monkeypatch):
    from windwatch.cli import new_file  # noqa: PLC0415 - to come in between

    wrote = new_file._write

    def slow(path, content):
        wrote(path, content)
        (here / "field.toml").write_text("theirs", encoding="utf-8")

    monkeypatch.setattr(new_file, "_write", slow)
    result = talk(*FIELD, *REST[:-1], "field.toml", "other.toml", "no", options=OFFLINE)
    assert "field.toml came to be there meanwhile" in result.stdout
    assert "field.toml is there already" in result.stdout
    assert (here / "field.toml").read_text(encoding="utf-8") == "theirs"
    assert written("other.toml")["airfield"][0]["id"] == "XLKS"
    assert result.stdout.endswith("windwatch watch other.toml\n")


def test_without_questions_nothing_is_shown_before_it_is_written(run):
    assert "This is to be written" not in run("config", "new", *LEAST).stdout


# --- what people type --------------------------------------------------------------------


def test_what_cannot_be_read_as_text_is_asked_for_again(run, flat):
    result = run("config", "new", *OFFLINE, given=b"\xff\xfe\nlks\n")
    assert "That cannot be read as text; type it again." in flat(result.stdout)
    assert left_behind() == []


def test_control_characters_are_not_repeated_to_the_screen(talk, flat):
    result = talk("L\x1b[31mKS", "\x00", "L" * 65, options=OFFLINE, status=2)
    assert "\x1b" not in result.stdout
    assert "\x00" not in result.stdout
    assert flat(result.stdout).count("is no identifier of an airfield") == 3


def test_yes_after_a_no_that_was_taken_back_is_a_yes(talk):
    talk("lks", "n", "back", "yes", *FIELD[2:], *REST, options=OFFLINE)
    assert written()["airfield"][0]["id"] == "XLKS"


def test_yes_takes_an_offer_but_never_one_of_nothing(talk, flat):
    result = talk(
        "lks", "yes", "y", "Yes", "y", "", "", "X-LARK", "y", "y", "y", *LIMITS[1:3], "yes", "",
        *LIMITS[4:], "", "yes", "no more", *REST[-9:-4], "yes", "y", "", "yes", "yes", "no",
        options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    assert 'Gust spread, knots [none]: yes "yes" is no number' in said
    assert 'Another aircraft [no more]: yes "yes" is no name; type it' in said
    assert "Mail server [not yet]: y there is no sender" in said
    assert written()["airfield"][0]["time_zone"] == "America/New_York"
    assert written()["aircraft"][0]["limits"]["crosswind_kt"] == 12


def test_an_address_for_a_name_and_a_telephone_for_an_address_are_mended(talk, flat):
    result = talk(
        *FIELD, "X-LARK, X-WREN", "X-LARK", "", "", "12,5", "12.5 kt", "nan", "1e400", *LIMITS[1:],
        "", "", "", "ops@larkspur.example", "", "mail", "+1 555 0100", "ops@larkspur.example",
        *REST[-6:], options=OFFLINE,
    )  # fmt: skip
    said = flat(result.stdout)
    for mend in (
        "there is a comma in it; name one; the next is asked for later.",
        '"12,5" has a comma; write a point before the decimals',
        '"nan" is no number',
        '"1e400" is no number',
        "that is an address; first type what to call them",
        '"mail" is no address; write one',
        '"+1 555 0100" is no address',
    ):
        assert mend in said, mend
    assert written()["aircraft"][0]["limits"]["crosswind_kt"] == 12.5
