"""Whether somebody hears of every subject at every minute of the week.

A subject that nobody has chosen is another matter; here it is about subjects whose every contact
is off duty, away, or in full silence at the same time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Final, NamedTuple

from windwatch.fleet import RUNWAY_QUANTITIES, Airfield, Contact, Fleet, RunwaySteps
from windwatch.hours import WEEKDAYS, DutyHours, instant, spans
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc

# Weeks without a change of the clock anywhere: one in winter, one in summer. Contacts in other
# time zones than the airfield may be an hour apart from each other in one of them only.
_WEEKS: Final = (date(2026, 1, 12), date(2026, 7, 13))
_MINUTES: Final = 7 * 24 * 60
_ALWAYS: Final = (1 << _MINUTES) - 1
_MINUTE: Final = timedelta(minutes=1)
_DAY: Final = timedelta(days=1)
_SHOWN: Final = 2


class Subject(NamedTuple):
    """What a contact can hear of: ``thunder``, ``ground`` or ``runways`` of one airfield."""

    airfield: str
    kind: str
    aircraft: str = ""
    pilot_limits: str = ""

    @property
    def words(self) -> str:
        """As people say it."""
        match self.kind:
            case "thunder":
                return f"thunder at {self.airfield}"
            case "ground":
                return f"{self.aircraft} on the ground at {self.airfield}"
            case _:
                return f"the runways of {self.airfield} for {self.aircraft} / {self.pilot_limits}"


def subjects(fleet: Fleet) -> Iterator[Subject]:
    """Everything that may be told of."""
    for airfield in fleet.airfields:
        yield Subject(airfield.id, "thunder")
        for craft in fleet.based_at(airfield.id):
            if any(limit.quantity not in RUNWAY_QUANTITIES for limit in craft.limits):
                yield Subject(airfield.id, "ground", craft.name)
            for pilot in craft.flown_by:
                yield Subject(airfield.id, "runways", craft.name, pilot)


def hears(contact: Contact, subject: Subject, *, any_level: bool = False) -> bool:
    """Whether a contact has chosen to hear when a subject is over a limit."""
    about = contact.tell_about
    if about.levels is not None and "over" not in about.levels and not any_level:
        return False
    if about.airfields and subject.airfield not in about.airfields:
        return False
    if subject.kind == "thunder":
        return about.thunder
    if about.aircraft and subject.aircraft not in about.aircraft:
        return False
    if subject.kind == "ground":
        return about.ground
    if about.pilot_limits and subject.pilot_limits not in about.pilot_limits:
        return False
    return about.runways is not RunwaySteps.NONE


# --- minutes of the week ----------------------------------------------------------


def _mask(
    hours: Iterable[DutyHours], zone: str, begins: datetime, ends: datetime, week: date
) -> int:
    """The minutes of a week, Monday first, that lie in any of the hours, one bit each."""
    found = 0
    for each in hours:
        for first, last in spans(each, zone, week - 3 * _DAY, week + 9 * _DAY):
            low = max(first, begins)
            high = min(last, ends)
            if low < high:
                start = (low - begins) // _MINUTE
                found |= ((1 << ((high - low) // _MINUTE)) - 1) << start
    return found


def _there(contact: Contact, airfield: Airfield, week: date) -> int:
    """The minutes of the airfield's week in which a contact hears what matters."""
    zone = contact.time_zone or airfield.time_zone
    begins = instant(week, time(), airfield.time_zone)
    ends = instant(week + 7 * _DAY, time(), airfield.time_zone)
    found = _mask(contact.duty, zone, begins, ends, week) if contact.duty else _ALWAYS
    quiet = contact.quiet_hours
    if contact.full_silence and quiet is not None:
        silent = DutyHours(WEEKDAYS, quiet.begins, quiet.ends)
        found &= ~_mask((silent,), zone, begins, ends, week)
    return found


def _open(airfield: Airfield, week: date) -> int:
    hours = airfield.operating_hours
    if hours is None:
        return _ALWAYS
    begins = instant(week, time(), airfield.time_zone)
    ends = instant(week + 7 * _DAY, time(), airfield.time_zone)
    every_day = DutyHours(WEEKDAYS, hours.opens, hours.closes)
    return _mask((every_day,), airfield.time_zone, begins, ends, week)


def hole_words(hole: int) -> str:
    """When a week has a hole, as ``every day from 22:00 to 06:00``."""
    if hole == _ALWAYS:
        return "at any time"
    runs = _runs(hole)
    lengths = {length for _, length in runs}
    starts = {start % (24 * 60) for start, _ in runs}
    if len(runs) == len(WEEKDAYS) and len(lengths) == len(starts) == 1:
        start, length = runs[0]
        return f"every day from {_clock(start)} to {_clock(start + length)}"
    shown = [f"from {_moment(start)} to {_moment(start + length)}" for start, length in runs]
    more = f" and {len(shown) - _SHOWN} more times a week" if len(shown) > _SHOWN else ""
    return ", ".join(shown[:_SHOWN]) + more


def _runs(hole: int) -> list[tuple[int, int]]:
    """Where a mask is set: first minute and length; what goes past Sunday is one piece."""
    found: list[tuple[int, int]] = []
    at = 0
    rest = hole
    while rest:
        skip = (rest & -rest).bit_length() - 1
        rest >>= skip
        at += skip
        length = (~rest & (rest + 1)).bit_length() - 1
        found.append((at, length))
        rest >>= length
        at += length
    if len(found) > 1 and found[0][0] == 0 and sum(found[-1]) == _MINUTES:
        first = found.pop(0)
        start, length = found.pop()
        found.append((start, length + first[1]))
    return found


def _clock(minute: int) -> str:
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


def _moment(minute: int) -> str:
    return f"{WEEKDAYS[minute // (24 * 60) % 7]} {_clock(minute)}"


# --- judging ----------------------------------------------------------------------


def judge_cover(found: Findings, fleet: Fleet) -> None:
    """Refuse hours that leave a subject uncovered, and say where a contact hears nothing."""
    every = tuple(subjects(fleet))
    _judge_silence(found, fleet.contacts, every)
    if not found.faults:
        _judge_week(found, fleet, every)
        _judge_absences(found, fleet, every)
    _judge_deaf(found, fleet.contacts, every)


def _judge_silence(
    found: Findings, contacts: Sequence[Contact], every: tuple[Subject, ...]
) -> None:
    for number, contact in enumerate(contacts):
        if not contact.full_silence:
            continue
        others = [c for c in contacts if c is not contact and not c.full_silence]
        alone = [s for s in every if hears(contact, s) and not any(hears(c, s) for c in others)]
        if alone:
            found.refuse(
                ("contact", number, "full_silence"),
                f"nobody else without it hears of {_listed(alone)}",
                "take it out (quiet hours alone still hold what can wait), or let another "
                "contact without full_silence hear of that",
            )


def _judge_week(found: Findings, fleet: Fleet, every: tuple[Subject, ...]) -> None:
    holes: dict[tuple[int, int], list[Subject]] = {}
    for subject in every:
        listening = _listening(fleet, subject)
        hole = _hole(fleet, subject, listening)
        if hole:
            holes.setdefault((hole, _blamed(fleet, listening)), []).append(subject)
    for (hole, number), left in holes.items():
        when = hole_words(hole)
        found.refuse(
            _where(fleet, number),
            f"with these hours nobody hears of {_listed(left)} {when} (local time there)",
            f"let one of its contacts be on duty {when} too, or leave one of them without hours",
        )


def _judge_absences(found: Findings, fleet: Fleet, every: tuple[Subject, ...]) -> None:
    for first, last in _periods(fleet.contacts):
        away = {c.name for c in fleet.contacts if _is_away(c, first)}
        days = _days(first, last)
        left = []
        for subject in every:
            listening = _listening(fleet, subject)
            there = [c for c in listening if c.name not in away]
            if len(there) < len(listening):
                hole = _hole(fleet, subject, there) & days
                if hole & ~_hole(fleet, subject, listening):
                    left.append(subject)
        if left:
            number = next(i for i, c in enumerate(fleet.contacts) if c.name in away)
            found.refuse(
                ("contact", number, "absent"),
                f"from {first} to {last} nobody is there at all times to hear of {_listed(left)}",
                "let somebody else hear of that in those days, or shorten the absence",
            )


def _judge_deaf(found: Findings, contacts: Sequence[Contact], every: tuple[Subject, ...]) -> None:
    passed_on = {contact.then_tell for contact in contacts}
    for number, contact in enumerate(contacts):
        if contact.operator or contact.name in passed_on:
            continue
        if not any(hears(contact, subject, any_level=True) for subject in every):
            found.caution(
                ("contact", number),
                "it hears of nothing at all",
                "add an airfield, aircraft or pilot standard that there is to its tell_about",
            )


def _listening(fleet: Fleet, subject: Subject) -> list[Contact]:
    return [contact for contact in fleet.contacts if hears(contact, subject)]


def _hole(fleet: Fleet, subject: Subject, listening: list[Contact]) -> int:
    """The minutes in which nobody hears; none where nobody has chosen to."""
    airfield = fleet.airfield(subject.airfield)
    if not _listening(fleet, subject):
        return 0
    hole = 0
    for week in _WEEKS:
        heard = 0
        for contact in listening:
            heard |= _there(contact, airfield, week)
        # Runway steps outside the operating hours wait for the opening anyway.
        when = _open(airfield, week) if subject.kind == "runways" else _ALWAYS
        hole |= when & ~heard
    return hole


def _blamed(fleet: Fleet, listening: list[Contact]) -> int:
    """The first contact that has hours: where the mend can be made."""
    return next(
        number
        for number, contact in enumerate(fleet.contacts)
        if contact in listening and (contact.duty or contact.full_silence)
    )


def _where(fleet: Fleet, number: int) -> Loc:
    key = "duty" if fleet.contacts[number].duty else "quiet_hours"
    return ("contact", number, key)


def _periods(contacts: Sequence[Contact]) -> list[tuple[date, date]]:
    """The spans of days in which the same contacts, at least one, are away."""
    changes = sorted(
        {day for c in contacts for away in c.absent for day in (away.first, away.last + _DAY)}
    )
    return [
        (first, following - _DAY)
        for first, following in pairwise(changes)
        if any(_is_away(contact, first) for contact in contacts)
    ]


def _is_away(contact: Contact, day: date) -> bool:
    return any(away.first <= day <= away.last for away in contact.absent)


def _days(first: date, last: date) -> int:
    """The minutes of the weekdays that occur from one day to another."""
    found = 0
    for place in range(min(len(WEEKDAYS), (last - first).days + 1)):
        weekday = (first + place * _DAY).weekday()
        found |= ((1 << (24 * 60)) - 1) << (weekday * 24 * 60)
    return found


def _listed(left: Sequence[Subject]) -> str:
    names = [subject.words for subject in left]
    more = f" and {len(names) - 3} more" if len(names) > 4 else ""
    shown = names[:3] if more else names
    return ", ".join(shown) + more
