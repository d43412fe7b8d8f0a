"""After a day an episode is standing: listed, no more reminders (reliability section 2)."""

from dataclasses import replace
from datetime import timedelta

from tests.pipeline.little_field import Watch, parked_fleet, utc
from windwatch.fleet import Contact, Fleet, TellAbout
from windwatch.hours import QuietHours
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.rules import Rules

LAST = "the last reminder: it stays listed as standing; review the limit"
HINT = "standing: no more reminders, review the limit"


def blown(fleet: Fleet, *, hours: int) -> Watch:
    """A storm from 12:53Z on, hourly, with a tick every few minutes."""
    watching = Watch(fleet)
    watching.report("18031KT", "1253")
    for hour in range(1, hours + 1):
        at = utc("1253") + timedelta(hours=hour)
        for minutes in range(-45, 0, 15):
            watching.tick(f"{at + timedelta(minutes=minutes):%H%M}", at.day)
        watching.report("18031KT", f"{at:%H%M}", day=at.day)
    return watching


def reminded(watching: Watch) -> list[str]:
    return [
        f"{notice.at:%d%H}" for notice in watching.notices if notice.steps[0].name == "reminder"
    ]


def test_reminders_stop_when_the_episode_is_standing() -> None:
    watching = blown(parked_fleet(), hours=30)
    assert watching.told() == ["opened", *["reminder"] * 7]
    # Opened at 12:53Z: nobody is reminded from 12:53Z of the next day on.
    assert max(reminded(watching)) < "2313"
    assert watching.level() == "over"


def test_after_how_long_is_a_setting() -> None:
    fleet = replace(parked_fleet(), rules=Rules(standing_after=timedelta(hours=12)))
    assert blown(fleet, hours=30).told() == ["opened", *["reminder"] * 3]


def test_the_last_reminder_says_so_and_no_other() -> None:
    fleet = parked_fleet()
    watching = Watch(fleet)
    said = []
    watching.report("18031KT", "1253")
    for hour in range(1, 31):
        at = utc("1253") + timedelta(hours=hour)
        watching.report("18031KT", f"{at:%H%M}", day=at.day)
        said += [
            LAST in " ".join(compose(notice, situation, fleet).text.split())
            for notice, situation in watching.last.notices
        ]
    assert said.count(True) == 1
    assert said[-1]


def test_what_is_standing_is_listed_with_a_hint_in_every_notice() -> None:
    fleet = parked_fleet(tie_down=25, taxi=32)
    watching = blown(fleet, hours=24)
    watching.report("18033KT", "1320", day=23, kind="SPECI")
    ((notice, situation),) = watching.last.notices
    (standing,) = [each for each in situation.open_tracks if each.standing]
    assert standing.track.quantity == "tie_down"
    content = compose(notice, situation, fleet)
    assert {each["track"]["quantity"]: each["standing"] for each in content.payload["open"]} == {
        "tie_down": True
    }
    assert HINT in " ".join(content.text.split())
    assert "standing: no more reminders" in compose_plain(notice, situation, fleet).text


def test_a_new_worst_and_the_end_are_told_all_the_same() -> None:
    watching = blown(parked_fleet(), hours=25)
    assert watching.report("18041KT", "1420", day=23, kind="SPECI") == ["worsened"]
    watching.report("18010KT", "1453", day=23)
    assert watching.report("18010KT", "1553", day=23) == ["back"]
    assert watching.told()[-2:] == ["worsened", "back"]


def test_a_reminder_that_waited_until_it_was_standing_is_not_sent() -> None:
    sleeper = Contact(
        "desk",
        ("folder",),
        TellAbout(),
        quiet_hours=QuietHours(utc("0500").time(), utc("1000").time()),
    )
    # New York is four hours behind: quiet from 09:00Z to 14:00Z, past the end of the first day.
    watching = blown(replace(parked_fleet(), contacts=(sleeper,)), hours=28)
    assert max(reminded(watching)) < "2309"
    assert watching.told() == ["opened", *["reminder"] * 6]
