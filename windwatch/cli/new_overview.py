"""What ``config new`` is about to write, in words, for a last look before it is written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

from windwatch.assessment.plan import AirfieldPlan
from windwatch.cli.config_words import end_words, limits_lines, plans_of
from windwatch.cli.new_stations import stands_words
from windwatch.cli.show import hanging, paragraph
from windwatch.settings.running import Settings
from windwatch.settings.starting import AirfieldAnswer, Answers, ContactAnswer
from windwatch.settings.starting_words import HEARS
from windwatch.settings.words import shown_url


def overview(settings: Settings, answers: Answers, path: Path, on: date) -> str:
    """Airfield, runways and what is doubtful, station, limits and whose they are, contacts.

    Parameters
    ----------
    settings : Settings
        What the text comes to, as ``config check`` reads it.
    answers : Answers
        Where it comes from.
    on : date
        For the magnetic variation.
    """
    (plan,) = plans_of(settings, on)
    based = settings.fleet.based_at(plan.airfield.id)
    lines = [
        paragraph(f"This is to be written to {path}:"),
        "",
        paragraph(f"{_airfield_words(answers.airfield)}."),
        *(paragraph(each, "  ", "    ") for each in _runways(plan, answers.airfield)),
        *(hanging(each) for each in stands_words(answers.airfield)),
        "",
        *limits_lines(plan, based),
        *(paragraph(each) for each in starters_words(answers)),
        "",
        "Told:",
        *(paragraph(_contact_words(each), "  ", "    ") for each in answers.contacts),
        *(paragraph(each) for each in leaving_words(answers)),
        *(hanging(f"Look at {warning}") for warning in settings.warnings),
    ]
    return "\n".join(lines)


def starters_words(answers: Answers) -> Iterator[str]:
    """Whose limits are in part nobody's rule."""
    starters = [each.name for each in answers.aircraft if each.starters]
    starters += [each.name for each in answers.pilots if each.starters]
    if starters:
        yield (
            f"Limits of {', '.join(starters)} are in part figures to start with: common practice, "
            "no source. Confirm each with your school's own book; they are marked in the file."
        )


def leaving_words(answers: Answers) -> Iterator[str]:
    """That nothing leaves the machine yet, where that is so."""
    if answers.mail_folder:
        yield f"Nothing is sent yet: notices are left as files in {answers.mail_folder}."


def _airfield_words(field: AirfieldAnswer) -> str:
    called = field.id if field.name == field.id else f"{field.id} {field.name}"
    hours = "at any hour" if field.hours is None else f"from {field.hours[0]} to {field.hours[1]}"
    return (
        f"{called}: {field.latitude:g}, {field.longitude:g}; {field.elevation_ft:g} ft; "
        f"{field.time_zone}; flying {hours}"
    )


def _runways(plan: AirfieldPlan, field: AirfieldAnswer) -> Iterator[str]:
    """The runways that are judged, with their headings; what is doubtful or left out."""
    for runway in plan.airfield.runways:
        ends = " / ".join(end_words(end, plan.variation_deg) for end in runway.ends)
        yield f"Runway {ends}{'' if len(runway.ends) > 1 else ', one way'}."
    for doubt in field.doubts:
        yield f"{doubt}; compare with a current chart."
    used = {runway.name for runway in plan.airfield.runways}
    left_out = [name for name in field.table_runways if name not in used]
    if left_out:
        yield f"Left out, with the reason in the file: {', '.join(left_out)}."


def _contact_words(contact: ContactAnswer) -> str:
    ways = [
        *([f"mail to {contact.email}"] if contact.email else []),
        *([f"calls of {shown_url(contact.webhook)}"] if contact.webhook else []),
        *([f"files in the folder {contact.folder}"] if contact.folder else []),
    ]
    about = f", of {', '.join(contact.aircraft)} alone" if contact.aircraft else ""
    own = "; windwatch's own troubles" if contact.operator else ""
    return f"{contact.name}, by {' and '.join(ways)}{about}: {HEARS[contact.hears].meaning}{own}."
