"""Quiet hours, duty and absences (reliability, section 3; promise 15; fault F33)."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from tests.pipeline.little_field import Watch, a_fleet, an_aircraft, limits, utc
from windwatch.fleet import Contact, RunwaySteps, TellAbout
from windwatch.hours import (
    WEEKDAYS,
    Absence,
    DutyHours,
    QuietHours,
    instant,
    is_on_duty,
    is_quiet,
)
from windwatch.pipeline import Acknowledged, Tick

NEW_YORK = "America/New_York"
MINUTE = timedelta(minutes=1)
# 22:00 to 06:00 in New York in September is 0200Z to 1000Z.
NIGHT = QuietHours(time(22), time(6))
SLEEPER = Contact(
    "sleeper",
    ("email",),
    TellAbout(runways=RunwaySteps.EACH, easing=True, thunder=False),
    quiet_hours=NIGHT,
)


def watch(contact: Contact, **knots: float) -> Watch:
    own = limits("X-LARK", **(knots or {"tie_down": 25}))
    return Watch(a_fleet(an_aircraft(own=own), contacts=(contact,)), utc("0100"))


# --- instants ------------------------------------------------------------------


@pytest.mark.fault("F33")
@pytest.mark.parametrize(
    ("day", "local", "expected"),
    [
        (date(2026, 3, 8), time(1, 59), "2026-03-08T06:59Z"),
        (date(2026, 3, 8), time(2, 0), "2026-03-08T07:00Z"),
        (date(2026, 3, 8), time(2, 59), "2026-03-08T07:00Z"),
        (date(2026, 3, 8), time(3, 0), "2026-03-08T07:00Z"),
        (date(2026, 11, 1), time(1, 0), "2026-11-01T05:00Z"),
        (date(2026, 11, 1), time(1, 59), "2026-11-01T05:59Z"),
        (date(2026, 11, 1), time(2, 0), "2026-11-01T07:00Z"),
        (date(2026, 7, 1), time(0, 0), "2026-07-01T04:00Z"),
    ],
)
def test_f33_a_skipped_time_is_the_next_valid_instant_and_a_repeated_one_the_first(
    day: date, local: time, expected: str
) -> None:
    assert f"{instant(day, local, NEW_YORK):%Y-%m-%dT%H:%MZ}" == expected


def quiet_minutes(quiet: QuietHours, begin: datetime, end: datetime) -> list[datetime]:
    found, now = [], begin
    while now < end:
        if is_quiet(quiet, NEW_YORK, now):
            found.append(now)
        now += MINUTE
    return found


@pytest.mark.fault("F33")
@pytest.mark.parametrize(
    ("day", "ends", "last_quiet"),
    [
        # Spring: 02:30 does not exist; the night ends as the clock is put forward.
        (datetime(2026, 3, 8, tzinfo=UTC), time(2, 30), "2026-03-08T06:59Z"),
        (datetime(2026, 3, 8, tzinfo=UTC), time(6), "2026-03-08T09:59Z"),
        # Autumn: 01:30 comes twice; the night ends the first time and does not begin again.
        (datetime(2026, 11, 1, tzinfo=UTC), time(1, 30), "2026-11-01T05:29Z"),
        (datetime(2026, 11, 1, tzinfo=UTC), time(6), "2026-11-01T10:59Z"),
    ],
)
def test_f33_nothing_is_held_an_hour_too_long_when_the_clock_is_changed(
    day: datetime, ends: time, last_quiet: str
) -> None:
    found = quiet_minutes(
        QuietHours(time(22), ends), day - timedelta(hours=4), day + timedelta(hours=20)
    )
    assert f"{found[-1]:%Y-%m-%dT%H:%MZ}" == last_quiet
    assert found[-1] - found[0] == (len(found) - 1) * MINUTE, "one piece"


def test_duty_past_midnight_belongs_to_the_day_on_which_it_begins() -> None:
    friday = (DutyHours(("fri",), time(20), time(4)),)
    on = [
        hour
        for hour in range(72)
        if is_on_duty(
            friday, (), NEW_YORK, datetime(2026, 9, 25, 4, tzinfo=UTC) + hour * 60 * MINUTE
        )
    ]
    # Counted from Friday 00:00 local.
    assert on == list(range(20, 28))


def test_duty_and_quiet_hours_from_a_time_to_the_same_time_are_a_whole_day() -> None:
    day = (DutyHours(("mon",), time(8), time(8)),)
    monday = datetime(2026, 9, 21, 12, tzinfo=UTC)
    assert is_on_duty(day, (), NEW_YORK, monday)
    assert is_on_duty(day, (), NEW_YORK, monday + timedelta(hours=23, minutes=59))
    assert not is_on_duty(day, (), NEW_YORK, monday + timedelta(hours=24))
    assert is_quiet(QuietHours(time(8), time(8)), NEW_YORK, monday)


def test_an_absence_covers_its_first_and_its_last_local_day() -> None:
    away = (Absence(date(2026, 8, 1), date(2026, 8, 15)),)
    at = [
        datetime(2026, 8, 1, 3, 59, tzinfo=UTC),
        datetime(2026, 8, 1, 4, 0, tzinfo=UTC),
        datetime(2026, 8, 16, 3, 59, tzinfo=UTC),
        datetime(2026, 8, 16, 4, 0, tzinfo=UTC),
    ]
    assert [is_on_duty((), away, NEW_YORK, now) for now in at] == [True, False, False, True]
    assert WEEKDAYS[at[1].weekday()] == "sat"


# --- quiet hours -----------------------------------------------------------------


def test_quiet_hours_never_hold_what_opens_worsens_or_is_withdrawn_for_parked_aircraft() -> None:
    watching = watch(SLEEPER)
    watching.report("18030KT", "0253")
    assert watching.told("sleeper") == ["opened"]
    watching.report("18041KT", "0353")
    assert watching.told("sleeper") == ["opened", "worsened"]
    watching.report("COR 18010KT", "0353", received="0410")
    watching.report("COR 18010KT", "0253", received="0412")
    assert watching.told("sleeper")[-1] == "withdrawn"


def test_quiet_hours_hold_near_until_they_end_and_then_tell_the_present_figure() -> None:
    watching = watch(SLEEPER)
    watching.report("18022KT", "0253")
    for hour in range(3, 10):
        watching.report("18023KT", f"{hour:02d}53" if hour < 9 else "0950")
    assert watching.told("sleeper") == []
    watching.tick("0959")
    assert watching.told("sleeper") == []
    watching.tick("1000")
    assert watching.told("sleeper") == ["near"]
    step = watching.notices[-1].steps[0]
    assert step.finding is not None
    assert step.finding.figure == 23
    assert watching.notices[-1].valid_until > utc("1000")


@pytest.mark.promise(15)
def test_promise_15_what_ended_in_the_quiet_hours_is_not_told_when_they_end() -> None:
    watching = watch(SLEEPER)
    watching.report("18022KT", "0253")
    watching.report("18008KT", "0353")
    for hour in ("0453", "0553", "0653", "0753", "0853", "0950"):
        watching.report("18008KT", hour)
    watching.tick_until("1000", "1003")
    assert watching.told("sleeper") == []
    assert watching.state.contact("sleeper").held == ()


def test_a_reminder_waits_for_the_morning_once_and_only_where_the_episode_is_still_open() -> None:
    watching = watch(SLEEPER)
    watching.report("18030KT", "0153")
    for hour in range(2, 10):
        watching.report("18030KT", f"{hour:02d}53")
        watching.tick_until(f"{hour:02d}54", f"{hour:02d}59")
    assert watching.told("sleeper") == ["opened"]
    assert [held.step.name for held in watching.state.contact("sleeper").held] == ["reminder"]
    watching.tick("1000")
    assert watching.told("sleeper") == ["opened", "reminder"]
    watching.tick_until("1001", "1052")
    assert watching.told("sleeper") == ["opened", "reminder"]


def test_a_reminder_that_waited_is_dropped_when_somebody_has_taken_note() -> None:
    watching = watch(SLEEPER)
    watching.report("18030KT", "0153")
    for hour in range(2, 10):
        watching.report("18030KT", f"{hour:02d}53")
        watching.tick(f"{hour:02d}54")
    episode = watching.state.ledger[0].episode
    watching.step(Acknowledged((episode,), "sleeper"), utc("0955"))
    watching.tick("1000")
    assert watching.told("sleeper") == ["opened"]


def test_no_data_on_an_open_episode_goes_out_in_quiet_hours_and_data_back_waits() -> None:
    watching = watch(SLEEPER)
    watching.report("18030KT", "0253")
    watching.tick_until("0257", "0410")
    assert watching.told("sleeper") == ["opened", "no_data"]
    watching.report("18030KT", "0453")
    assert watching.told("sleeper") == ["opened", "no_data"]
    for hour in ("0553", "0653", "0753", "0853", "0950"):
        watching.report("18030KT", hour)
    watching.tick("1001")
    assert watching.told("sleeper")[2:] == ["data_back", "reminder"]


def test_promise_15_data_back_is_not_told_where_nothing_is_known_again() -> None:
    watching = watch(replace(SLEEPER, quiet_hours=QuietHours(time(22), time(1, 0))))
    watching.report("18030KT", "0153")
    watching.tick_until("0200", "0310")
    watching.report("18030KT", "0320", received="0322")
    assert watching.told("sleeper") == ["opened", "no_data"]
    watching.tick_until("0323", "0440")
    assert watching.told("sleeper") == ["opened", "no_data", "no_data"]
    watching.tick("0500")
    assert watching.told("sleeper") == ["opened", "no_data", "no_data"]


def test_thunder_and_easing_in_quiet_hours() -> None:
    watching = watch(replace(SLEEPER, tell_about=TellAbout(easing=True)))
    watching.report("18030KT", "0253", "5SM TSRA BKN030CB 20/10 A2992")
    assert sorted(watching.told("sleeper")) == ["opened", "opened"]
    watching.report("18020KT", "0353")
    assert "easing" not in watching.told("sleeper")
    watching.report("18020KT", "0453")
    watching.report("18020KT", "0553")
    assert watching.told("sleeper").count("back") == 2
    watching.tick_until("1000", "1001")
    assert "easing" not in watching.told("sleeper"), "it is over long since"


def test_the_contacts_own_time_zone_counts_where_it_has_one() -> None:
    abroad = replace(SLEEPER, time_zone="Europe/Vienna")
    # 22:00 to 06:00 in Vienna in September is 2000Z to 0400Z.
    watching = watch(abroad)
    watching.report("18022KT", "0253")
    watching.tick("0359")
    assert watching.told("sleeper") == []
    watching.report("18022KT", "0353", received="0400")
    assert watching.told("sleeper") == ["near"]


# --- full silence, duty, absence ---------------------------------------------------


DAYTIME = Contact(
    "day desk", ("email",), TellAbout(thunder=False), duty=(DutyHours(WEEKDAYS, time(6), time(22)),)
)


@pytest.mark.promise(15)
@pytest.mark.parametrize(
    "contact",
    [
        DAYTIME,
        replace(DAYTIME, duty=(), quiet_hours=NIGHT, full_silence=True),
        replace(DAYTIME, duty=(), absent=(Absence(date(2026, 9, 22), date(2026, 9, 22)),)),
    ],
    ids=["off duty", "full silence", "absent"],
)
def test_promise_15_the_present_state_is_told_when_duty_begins(contact: Contact) -> None:
    # The local 22nd is 0400Z on the 22nd to 0400Z on the 23rd.
    begins = utc("0400", 23) if contact.absent else utc("1000")
    watching = watch(contact)
    now = utc("0453")
    winds = ["18030KT", "18042KT", "18033KT"]
    while now < begins:
        watching.raw(
            f"METAR XLKS {now:%d%H%M}Z {winds.pop(0) if winds else '18031KT'} 10SM CLR", now=now
        )
        now += timedelta(minutes=60)
    assert watching.told("day desk") == []
    watching.step(Tick(), begins)
    assert watching.told("day desk") == ["opened"]
    step = watching.notices[0].steps[0]
    assert step.finding is not None
    assert step.worst is not None
    assert (step.finding.figure, step.worst.figure) == (31, 42)
    assert step.ended_at is None


@pytest.mark.promise(6)
def test_promise_6_what_opened_and_ended_off_duty_is_told_once_as_past() -> None:
    watching = watch(DAYTIME)
    watching.report("18030KT", "0253")
    for hour in range(3, 10):
        watching.report("18008KT", f"{hour:02d}50")
    watching.tick_until("1000", "1002")
    assert watching.told("day desk") == ["opened"]
    assert watching.notices[0].steps[0].past


def test_what_ends_off_duty_is_told_to_who_heard_of_its_beginning() -> None:
    watching = watch(DAYTIME)
    watching.report("18030KT", "0153")
    assert watching.told("day desk") == ["opened"]
    for hour in range(2, 10):
        watching.report("18008KT", f"{hour:02d}50")
    assert watching.told("day desk") == ["opened"]
    watching.tick("1000")
    assert watching.told("day desk") == ["opened", "back"]
