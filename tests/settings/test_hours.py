"""Contacts' own hours, channels in turn and push: what is read, and what is refused."""

import tomllib
from datetime import date, time
from pathlib import Path

import pytest

from windwatch.errors import SettingsError
from windwatch.hours import WEEKDAYS, Absence, DutyHours, QuietHours
from windwatch.settings.cover import hole_words
from windwatch.settings.read import read_settings

RIGHT: str = tomllib.loads((Path(__file__).parent / "broken.toml").read_text(encoding="utf-8"))[
    "right"
]
FILE = Path("field.toml")
SILENT = 'quiet_hours = { from = "22:00", to = "06:00" }\nfull_silence = true\n'
CHIEF = '\n[[contact]]\nname = "chief"\nfolder = "chief"\n'
OPEN = (
    "elevation_ft = 960\n",
    'elevation_ft = 960\noperating_hours = { from = "07:00", to = "20:00" }\n',
)


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(desk: str = "", more: str = "", *changes, **environ: str):
    text = RIGHT
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    FILE.write_text(text.rstrip() + "\n" + desk + more, encoding="utf-8")
    return read_settings([FILE], environ)


def refused(desk: str = "", more: str = "", *changes, **environ: str) -> list[str]:
    with pytest.raises(SettingsError) as error:
        read(desk, more, *changes, **environ)
    return [str(fault) for fault in error.value.faults]


def duty(days: str, begins: str, ends: str) -> str:
    return f'[[contact.duty]]\ndays = [{days}]\nfrom = "{begins}"\nto = "{ends}"\n'


# --- read -----------------------------------------------------------------------


def test_by_default_nobody_has_hours_and_every_channel_gets_every_notice():
    contact = read().fleet.contacts[0]
    assert not contact.fall_back
    assert not contact.then_tell
    assert not contact.full_silence
    assert (contact.quiet_hours, contact.duty, contact.absent) == (None, (), ())


def test_everything_a_contact_may_say_of_its_hours():
    settings = read(
        'folder = "more"\nfall_back = true\nthen_tell = "chief"\ntime_zone = "Europe/Vienna"\n'
        'quiet_hours = { from = "22:00", to = "06:00" }\n'
        'absent = [{ from = "2026-08-01", until = 2026-08-15 }]\n'
        + duty('"mon", "fri"', "07:00", "19:00"),
        CHIEF,
    )
    contact = settings.fleet.contacts[0]
    assert contact.fall_back
    assert (contact.then_tell, contact.time_zone) == ("chief", "Europe/Vienna")
    assert contact.quiet_hours == QuietHours(time(22), time(6))
    assert contact.duty == (DutyHours(("mon", "fri"), time(7), time(19)),)
    assert contact.absent == (Absence(date(2026, 8, 1), date(2026, 8, 15)),)
    assert settings.warnings == ()


def test_duty_without_days_is_every_day():
    more = '[[contact.duty]]\nfrom = "07:00"\nto = "19:00"\n'
    assert read(more, CHIEF).fleet.contacts[0].duty[0].days == WEEKDAYS


# --- contradictions ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("desk", "says"),
    [
        (
            "fall_back = true\n",
            (
                "field.toml:36: contact operations desk, fall_back: there is only one channel, and "
                "nothing to fall back to; add a second one, or take fall_back out"
            ),
        ),
        (
            'then_tell = "chef"\n',
            (
                "field.toml:36: contact operations desk, then_tell: no contact is called "
                '"chef"; did you mean "chief"?'
            ),
        ),
        (
            'then_tell = "operations desk"\n',
            (
                "field.toml:36: contact operations desk, then_tell: it names the contact "
                "itself; name somebody else"
            ),
        ),
        (
            'time_zone = "America/Larkspur"\n',
            (
                "field.toml:36: contact operations desk, time_zone: there is no time zone "
                '"America/Larkspur"; write its name in the time zone database, as '
                '"America/New_York"'
            ),
        ),
        (
            "full_silence = true\n",
            (
                "field.toml:36: contact operations desk, full_silence: there are no quiet "
                'hours that it could be about; add quiet_hours = { from = "22:00", to = '
                '"06:00" }, or take full_silence out'
            ),
        ),
        (
            'quiet_hours = { from = "22:00", to = "22:00" }\n',
            (
                "field.toml:36: contact operations desk, quiet_hours: from 22:00 to 22:00 is "
                'the whole day; write the hours that are meant, as { from = "22:00", to = '
                '"06:00" }'
            ),
        ),
        (
            'absent = [{ from = "2026-08-15", until = "2026-08-01" }]\n',
            (
                "field.toml:36: contact operations desk, absent no. 1, until: it ends before "
                "it begins, on 2026-08-15; write the last day away"
            ),
        ),
        (
            'absent = [{ from = "2026-13-01", until = "2026-08-01" }]\n',
            (
                'field.toml:36: contact operations desk, absent no. 1, from: "2026-13-01" is '
                'no date; write year-month-day, as "2026-08-01"'
            ),
        ),
    ],
)
def test_message(desk, says):
    assert refused(desk, CHIEF) == [says]


# --- somebody hears at every time ---------------------------------------------------


def test_full_silence_needs_another_contact_without_it_for_the_same_subjects():
    assert refused(SILENT) == [
        (
            "field.toml:37: contact operations desk, full_silence: nobody else without it "
            "hears of thunder at XLKS, X-LARK on the ground at XLKS, the runways of XLKS for "
            "X-LARK / student solo; take it out (quiet hours alone still hold what can "
            "wait), or let another contact without full_silence hear of that"
        )
    ]
    deaf_to_thunder = CHIEF + "tell_about = { thunder = false }\n"
    (said,) = refused(SILENT, deaf_to_thunder)
    assert "nobody else without it hears of thunder at XLKS; take" in said
    assert read(SILENT, CHIEF).fleet.contacts[0].full_silence
    assert len(refused(SILENT, CHIEF + SILENT)) == 2, "two in full silence do not cover each other"


def test_hours_that_leave_the_evenings_uncovered_are_refused_with_day_time_and_mend():
    weekdays = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    assert refused(duty(weekdays, "06:00", "22:00")) == [
        (
            "field.toml:36: contact operations desk, duty: with these hours nobody hears of "
            "thunder at XLKS, X-LARK on the ground at XLKS, the runways of XLKS for X-LARK / "
            "student solo every day from 22:00 to 06:00 (local time there); let one of its "
            "contacts be on duty every day from 22:00 to 06:00 too, or leave one of them "
            "without hours"
        )
    ]


def test_runways_need_nobody_outside_the_operating_hours():
    every_day = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    (said,) = refused(duty(every_day, "07:00", "20:00"), "", OPEN)
    assert "thunder at XLKS, X-LARK on the ground at XLKS every day from 20:00 to 07:00" in said
    assert "runways" not in said
    said = refused(duty(every_day, "08:00", "20:00"), "", OPEN)
    assert "the runways of XLKS for X-LARK / student solo every day from 07:00 to 08:00" in said[1]


def test_a_weekend_without_anybody_is_named_from_its_first_to_its_last_hour():
    days = '"mon", "tue", "wed", "thu", "fri"'
    (said,) = refused(duty(days, "00:00", "00:00"))
    assert "nobody hears of thunder at XLKS" in said
    assert "from sat 00:00 to mon 00:00 (local time there)" in said


def test_shifts_that_join_cover_the_week():
    every_day = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    day, night = duty(every_day, "06:00", "22:00"), duty(every_day, "22:00", "06:00")
    assert read(day, CHIEF + night).warnings == ()
    (said,) = refused(day, CHIEF + duty(every_day, "22:00", "05:59"))
    assert "every day from 05:59 to 06:00" in said


def test_full_silence_of_one_and_duty_of_the_other_are_held_against_each_other():
    every_day = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    (said,) = refused(SILENT, CHIEF + duty(every_day, "08:00", "23:00"))
    assert "every day from 23:00 to 06:00" in said


def test_hours_in_another_time_zone_are_turned_into_those_of_the_airfield():
    every_day = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    # 06:00 to 22:00 in Vienna is 00:00 to 16:00 in New York, in winter and in summer.
    abroad = 'time_zone = "Europe/Vienna"\n' + duty(every_day, "06:00", "22:00")
    (said,) = refused(abroad)
    assert "every day from 16:00 to 00:00 (local time there)" in said
    # Phoenix keeps standard time: from the east it is two hours in winter and three in summer.
    phoenix = 'time_zone = "America/Phoenix"\n' + duty(every_day, "06:00", "22:00")
    (said,) = refused(phoenix)
    assert "every day from 00:00 to 09:00" in said


def test_absences_are_held_against_the_hours_of_the_others():
    away = 'absent = [{ from = "2026-08-01", until = "2026-08-15" }]\n'
    assert refused(away) == [
        (
            "field.toml:36: contact operations desk, absent: from 2026-08-01 to 2026-08-15 "
            "nobody is there at all times to hear of thunder at XLKS, X-LARK on the ground "
            "at XLKS, the runways of XLKS for X-LARK / student solo; let somebody else hear "
            "of that in those days, or shorten the absence"
        )
    ]
    assert read(away, CHIEF).warnings == ()
    also_away = 'absent = [{ from = "2026-08-15", until = "2026-08-20" }]\n'
    (said,) = refused(away, CHIEF + also_away)
    assert "from 2026-08-15 to 2026-08-15" in said


def test_an_absence_on_days_on_which_others_are_there_is_right():
    days = '"mon", "tue", "wed", "thu", "fri"'
    # The 3rd to the 7th of August 2026 are Monday to Friday.
    away = 'absent = [{ from = "2026-08-03", until = "2026-08-07" }]\n'
    assert read(away, CHIEF + duty(days, "00:00", "00:00")).warnings == ()
    longer = 'absent = [{ from = "2026-08-03", until = "2026-08-08" }]\n'
    assert len(refused(longer, CHIEF + duty(days, "00:00", "00:00"))) == 1


def test_a_subject_that_nobody_has_chosen_is_no_hole():
    every_day = '"mon", "tue", "wed", "thu", "fri", "sat", "sun"'
    desk = 'tell_about = { thunder = false, runways = "none" }\n' + duty(
        every_day, "06:00", "22:00"
    )
    (said,) = refused(desk)
    assert "nobody hears of X-LARK on the ground at XLKS every day" in said


@pytest.mark.parametrize(
    ("spans", "expected"),
    [
        ([(0, 10080)], "at any time"),
        ([(60, 90)], "from mon 01:00 to mon 01:30"),
        ([(0, 60), (10020, 10080)], "from sun 23:00 to mon 01:00"),
        (
            [(0, 1), (10, 11), (20, 21), (30, 31)],
            "from mon 00:00 to mon 00:01, from mon 00:10 to mon 00:11 and 2 more times a week",
        ),
        ([(d * 1440 + 60, d * 1440 + 120) for d in range(7)], "every day from 01:00 to 02:00"),
    ],
)
def test_a_hole_in_words(spans, expected):
    mask = 0
    for begins, ends in spans:
        mask |= ((1 << (ends - begins)) - 1) << begins
    assert hole_words(mask) == expected


# --- who hears nothing --------------------------------------------------------------


def test_a_contact_that_hears_of_nothing_is_shown():
    nothing = 'tell_about = { ground = false, thunder = false, runways = "none" }\n'
    (said,) = read("", CHIEF + nothing).warnings
    assert said == (
        "field.toml:37: contact chief: it hears of nothing at all; add an airfield, aircraft or "
        "pilot standard that there is to its tell_about"
    )
    assert read('then_tell = "chief"\n', CHIEF + nothing).warnings == ()
    assert read("", CHIEF + "operator = true\n" + nothing).warnings == ()


# --- push -----------------------------------------------------------------------------

PUSH = 'push = { url_env = "DESK_PUSH" }\n'
SENT = (
    '[delivery]\nfolder = "notices"\n',
    '[mail]\nhost = "mail.larkspur.example"\nsender = "w@larkspur.example"\n',
)


def test_a_push_address_is_a_secret_from_the_environment():
    settings = read(PUSH, "", SENT, DESK_PUSH="ntfys://larkspur-s3cr3t")
    assert settings.fleet.contacts[0].channels == ("email", "push")
    secret = settings.addresses["operations desk"].push
    assert secret is not None
    assert secret.reveal() == "ntfys://larkspur-s3cr3t"
    assert "s3cr3t" not in repr(settings)


@pytest.mark.parametrize(
    ("address", "problem"),
    [
        ("syslog://s3cr3t", "syslog:// is none of the push services that windwatch uses"),
        ("json://s3cr3t.larkspur.example", "json:// is not encrypted"),
        ("s3cr3t", "what it holds is no address"),
    ],
)
def test_a_push_address_that_is_not_allowed_is_refused_and_not_shown(address, problem):
    (said,) = refused(PUSH, "", SENT, DESK_PUSH=address)
    assert "contact operations desk, push.url_env" in said
    assert problem in said
    assert "s3cr3t" not in said


def test_push_without_an_address_or_with_an_unset_variable():
    (said,) = refused("push = {}\n")
    assert "contact operations desk, push: no address to push to; add url_env" in said
    (said,) = refused(PUSH, "", SENT)
    assert "the environment variable DESK_PUSH is not set" in said
