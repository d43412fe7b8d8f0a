"""Answers to text: whatever was answered makes a file that passes, and says it back."""

import string
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from windwatch.settings import starting_parts as parts
from windwatch.settings import starting_read as read
from windwatch.settings.read import read_settings
from windwatch.settings.starting import (
    AircraftAnswer,
    AirfieldAnswer,
    Answers,
    ContactAnswer,
    FeedAnswer,
    MailAnswer,
    PilotAnswer,
    StationAnswer,
)
from windwatch.settings.starting_read import Refusal
from windwatch.settings.starting_text import (
    as_toml,
    secrets_needed,
    typed_runway_lines,
    webhook_secret,
)
from windwatch.settings.starting_words import (
    AIRCRAFT_LIMITS,
    AIRCRAFT_STARTERS,
    HEARS,
    KEY_OF,
    PILOT_STARTERS,
    RUNWAY_LIMITS,
)

NAMES = st.text(string.ascii_letters + string.digits + "äß'\"\\ #=,[]{}-", min_size=1, max_size=60)
NAMES = NAMES.filter(lambda name: name == name.strip() and "\n" not in name)
KNOTS = st.floats(0.1, 150).map(lambda kt: round(kt, 2))
LIMITS = st.dictionaries(st.sampled_from([each.key for each in AIRCRAFT_LIMITS]), KNOTS)
RUNWAY = st.dictionaries(st.sampled_from([each.key for each in RUNWAY_LIMITS]), KNOTS)


def answers(**changes) -> Answers:
    field = AirfieldAnswer(
        id="XLKS",
        name="Larkspur",
        latitude=42.93,
        longitude=-76.02,
        elevation_ft=960,
        time_zone="America/New_York",
        station=StationAnswer("XLKS"),
        runway_lines=typed_runway_lines(parts.runways("10=91.4/28=271.4")),
    )
    usual = {
        "feed": FeedAnswer(contact="ops@larkspur.example"),
        "airfield": field,
        "aircraft": (AircraftAnswer("X-LARK", "nosewheel", "high", (("crosswind_kt", 15.0),)),),
        "contacts": (ContactAnswer("operations desk", folder="notices"),),
    }
    return Answers(**(usual | changes))


def checked(text: str, folder: Path):
    path = folder / "field.toml"
    path.write_text(text, encoding="utf-8")
    return read_settings([path], {}, require_secrets=False)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    names=st.lists(NAMES, min_size=4, max_size=4, unique_by=str.casefold),
    limits=LIMITS,
    flying=RUNWAY,
    hears=st.sampled_from(list(HEARS)),
)
def test_any_answers_make_a_file_that_passes_and_says_them_back(
    tmp_path, names, limits, flying, hears
):
    craft, pilot, desk, owner = names
    text = as_toml(
        answers(
            aircraft=(AircraftAnswer(craft, "tailwheel", "low", tuple(limits.items())),),
            pilots=(PilotAnswer(pilot, tuple(flying.items())),),
            contacts=(
                ContactAnswer(desk, folder="notices", operator=True),
                ContactAnswer(owner, webhook="https://d.example/w", hears=hears, aircraft=(craft,)),
            ),
        )
    )
    fleet = checked(text, tmp_path).fleet
    assert [each.name for each in fleet.aircraft] == [craft]
    assert {limit.value for limit in fleet.aircraft[0].limits} == set(limits.values())
    assert fleet.aircraft[0].flown_by == (pilot,)
    assert {limit.value for limit in fleet.pilot_limits[pilot].limits} == set(flying.values())
    assert [each.name for each in fleet.contacts] == [desk, owner]
    assert fleet.contacts[1].tell_about.aircraft == (craft,)


def test_the_same_answers_make_the_same_text():
    assert as_toml(answers()) == as_toml(answers())


def test_every_limit_is_explained_in_one_sentence_and_starters_are_for_limits_that_there_are():
    for each in AIRCRAFT_LIMITS:
        assert each.meaning.endswith(".")
        assert each.meaning.count(".") == 1
    keys = set(KEY_OF.values())
    assert all(set(starters) <= keys for starters in AIRCRAFT_STARTERS.values())
    runway = {each.key for each in RUNWAY_LIMITS}
    assert all(set(starters) <= runway for starters in PILOT_STARTERS.values())


def test_starters_lie_within_what_reference_airmanship_section_7_calls_typical():
    """Common practice, no published standard: student solo 15 kt, crosswind 5 to 8; dual 25-30."""
    assert PILOT_STARTERS["student solo"]["wind_kt"] == 15
    assert 5 <= PILOT_STARTERS["student solo"]["crosswind_kt"] <= 8
    assert 25 <= PILOT_STARTERS["dual"]["wind_kt"] <= 30
    for starters in AIRCRAFT_STARTERS.values():
        assert 20 <= starters["tie_down_kt"] <= 25
        assert starters["tie_down_kt"] < starters["shelter_kt"]


def test_secrets_are_named_and_never_asked_for():
    both = answers(
        contacts=(
            ContactAnswer("operations desk", email="a@b.example", webhook="https://d.example/w"),
        ),
        mail=MailAnswer("mail.b.example", "w@b.example", username="w@b.example"),
    )
    assert secrets_needed(both) == (
        "WINDWATCH_MAIL_PASSWORD",
        "WINDWATCH_OPERATIONS_DESK_SECRET",
    )
    assert 'password_env = "WINDWATCH_MAIL_PASSWORD"' in as_toml(both)
    assert secrets_needed(answers()) == ()


@pytest.mark.parametrize(
    ("contact", "variable"),
    [
        ("owner of X-WREN", "WINDWATCH_OWNER_OF_X_WREN_SECRET"),
        ("Größe", "WINDWATCH_GR_SSE_SECRET"),
        ("…", "WINDWATCH_CONTACT_SECRET"),
    ],
)
def test_the_variable_of_a_secret_is_one_that_a_shell_takes(contact, variable):
    assert webhook_secret(contact) == variable


def test_what_is_optional_stands_there_as_a_comment():
    text = as_toml(answers())
    for line in ("# operating_hours = ", "# reports_between = ", "# [store]", "# [[airfield.taxi_"):
        assert line in text
    # A comment taken in must be right as well.
    tomllib.loads(text.replace("# operating_hours", "operating_hours"))


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("42.93,-76.02", (42.93, -76.02)),
        (" 42.93 , -76.02 ", (42.93, -76.02)),
        ("42.93N 76.02W", (42.93, -76.02)),
        ("33.9s,151.2e", (-33.9, 151.2)),
        ("0,0", (0.0, 0.0)),
    ],
)
def test_a_position_as_people_write_it(text, place):
    assert read.place(text) == place


@pytest.mark.parametrize("text", ["7:00-20:00", "07:00 to 20:00", "07:00 – 20:00", "7 to 20"])
def test_hours_as_people_write_them(text):
    assert read.hours(text) == ("07:00", "20:00")


@pytest.mark.parametrize("text", ["", "always", "none", "-"])
def test_no_hours_is_always(text):
    assert read.hours(text) is None


def test_a_mapping_of_a_json_feed():
    assert parts.mapping("station=XLKS, reference=magnetic, variation_deg=-11.5") == (
        ("station", "XLKS"), ("reference", "magnetic"), ("variation_deg", -11.5),
    )  # fmt: skip
    with pytest.raises(Refusal, match="did you mean observed_at="):
        parts.mapping("observedat=time")
    with pytest.raises(Refusal, match="is no key of a mapping"):
        parts.mapping("raw")
