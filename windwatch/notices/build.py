"""Put a notice's page together, in the order of reading."""

from __future__ import annotations

from windwatch.airmanship import control_words
from windwatch.airmanship.wing_lift import OVERTURNS_EARLIER
from windwatch.episodes.values import Step
from windwatch.notices import words
from windwatch.notices.actions import action_rows
from windwatch.notices.advice import (
    Advice,
    LegAdvice,
    ParkedAdvice,
    merged_reminders,
    notes_in_notice,
)
from windwatch.notices.clean import visible
from windwatch.notices.figures import figure_rows
from windwatch.notices.headline import headline, late_by, mark_now, subject_of, times_line
from windwatch.notices.page import Page, Row, Section
from windwatch.notices.scene import Scene, mark_of, order_of
from windwatch.notices.still_open import open_rows
from windwatch.notices.values import Notice
from windwatch.notices.why import caution_rows, evidence_rows, why_rows
from windwatch.notices.words import against


def build_page(scene: Scene, advice: Advice) -> Page:
    """The whole notice: what to do, figures, why, controls, parked aircraft, open, evidence.

    All but its footer, which names the contact: contacts who hear the same share the rest.
    """
    taxi = ("taxi", _by_whose_wind(scene, taxi_rows(advice.taxi)))
    parked = ("parked", _by_whose_wind(scene, parked_rows(advice.parked)))
    parts = (
        ("late", _late_rows(scene)),
        ("do", action_rows(scene)),
        ("figures", () if scene.late else figure_rows(scene)),
        ("state", open_rows(scene) if scene.late else ()),
        ("why", why_rows(scene)),
        *((parked, taxi) if scene.ground_only else (taxi, parked)),
        ("open", () if scene.late else open_rows(scene)),
        ("evidence", evidence_rows(scene)),
        ("caution", caution_rows()),
    )
    lead = scene.lead
    finding = lead.finding if lead is not None and not scene.late and not lead.past else None
    return Page(
        place=f"{scene.airfield.id} {scene.airfield.name}".strip(),
        mark=mark_now(scene),
        headline=headline(scene),
        big="" if finding is None else against(finding, scene.unit),
        times=times_line(scene),
        sections=tuple(Section(name, words.TITLES[name], rows) for name, rows in parts if rows),
        footer=(),
    )


def footer_of(scene: Scene) -> tuple[str, ...]:
    """To whom it goes, when it was made, and which notice it is."""
    notice = scene.notice
    lines = (
        *_dead_letters(notice),
        f"To {notice.contact}, about {scene.airfield.id}, made {scene.times.dated(notice.at)}",
        f"Notice {notice.id}",
    )
    return tuple(visible(line) for line in lines)


def _dead_letters(notice: Notice) -> tuple[str, ...]:
    """That something did not arrive before, whoever reads this by a channel that works."""
    if not notice.undelivered_by:
        return ()
    by = words.listed(notice.undelivered_by)
    return (f"Earlier notices to {notice.contact} could not be delivered by {by}.",)


def _by_whose_wind(scene: Scene, rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """Advice by the wind of another station says so first."""
    if not rows or not scene.fall_back or not scene.known:
        return rows
    station = scene.situation.station_in_use
    return (Row(words.by_whose_wind(station)), *rows)


# --- late ----------------------------------------------------------------------


def _late_rows(scene: Scene) -> tuple[Row, ...]:
    """That it is late, why, and what happened meanwhile, in the order it happened."""
    if not scene.late:
        return ()
    first = late_by(scene)
    by = f" {words.minutes(scene.notice.at - first)}" if first else ""
    because = scene.notice.late_because or "it could not be delivered in time"
    rows = [Row(f"This comes{by} late, because {because}.")]
    if count := len(scene.notice.replaces):
        rows.append(Row(f"It replaces {count} notice{'s' if count > 1 else ''} that became old."))
    in_time = sorted(scene.steps, key=lambda s: (s.at, order_of(s.name), s.track, s.id))
    rows += [_meanwhile(scene, step) for step in in_time]
    return tuple(rows)


def _meanwhile(scene: Scene, step: Step) -> Row:
    what = words.STEP[step.name]
    if step.past and step.ended_at is not None:
        what = f"past, ended {scene.times.at(step.ended_at)}"
    return Row(
        f"{subject_of(scene, step)} - {what}",
        head=scene.times.at(step.at),
        mark=None if step.past else mark_of(step),
    )


# --- taxiing -------------------------------------------------------------------


def taxi_rows(legs: tuple[LegAdvice, ...]) -> tuple[Row, ...]:
    """One row a leg: the wind on it, and how each type is held."""
    return tuple(_leg_row(leg) for leg in legs)


def _leg_row(leg: LegAdvice) -> Row:
    about = "about " if leg.approximate else ""
    heading = (
        f"heading {about}{words.degrees(leg.heading_magnetic)} magnetic, "
        f"{words.degrees(leg.heading_true)} true"
    )
    winds = dict.fromkeys(
        control_words.wind_in_words(hold.positions.relative_wind) for hold in leg.holds
    )
    types: dict[str, list[str]] = {}
    for hold in leg.holds:
        types.setdefault(control_words.in_words(hold.positions), []).append(
            f"{words.GEAR[hold.gear]} ({', '.join(hold.aircraft)})"
        )
    holds = (f"{words.first_upper(words.listed(who))}: {how}" for how, who in types.items())
    return Row(
        "; ".join(winds),
        head=f"{words.first_upper(leg.name)}, {heading}",
        details=(*holds, *notes_in_notice(leg.holds)),
    )


# --- parked aircraft -------------------------------------------------------------


def parked_rows(parked: tuple[ParkedAdvice, ...]) -> tuple[Row, ...]:
    """Wing lift, then the reminders in the order of doing, with names where not for all."""
    if not parked:
        return ()
    everybody = tuple(advice.craft.name for advice in parked)
    names = ", ".join(
        f"{advice.craft.name} ({words.GEAR[advice.craft.gear]}, {words.WING[advice.craft.wing]})"
        for advice in parked
    )
    rows = [
        Row(reminder.text, head="" if whose == everybody else ", ".join(whose))
        for reminder, whose in merged_reminders(parked)
    ]
    return (Row(names, head="For"), *_lift_rows(parked), *rows)


def _lift_rows(parked: tuple[ParkedAdvice, ...]) -> tuple[Row, ...]:
    """The share of its weight that each wing can carry; what is assumed for all is said once."""
    bands = [(advice.craft.name, advice.lift) for advice in parked if advice.lift is not None]
    if not bands:
        return ()
    shared = [a for a in bands[0][1].assumptions if all(a in b.assumptions for _, b in bands)]
    own = [
        f"{name}: {'; '.join(rest)}"
        for name, band in bands
        if (rest := [a for a in band.assumptions if a not in shared])
    ]
    shares = ", ".join(
        f"{name} {band.low * 100:.0f} % to {band.high * 100:.0f} %" for name, band in bands
    )
    return (
        Row(
            f"{shares}. {OVERTURNS_EARLIER}",
            head="Share of its weight that the wing can carry in this wind",
            details=(f"Assumed: {'; '.join(shared)}", *own),
        ),
    )


def clean_page(page: Page) -> Page:
    """The page with every string made visible: names and reasons may come from outside too."""
    return page._replace(
        place=visible(page.place),
        headline=visible(page.headline),
        big=visible(page.big),
        times=visible(page.times),
        sections=tuple(
            section._replace(rows=tuple(_clean_row(row) for row in section.rows))
            for section in page.sections
        ),
        footer=tuple(visible(line) for line in page.footer),
    )


def _clean_row(row: Row) -> Row:
    return row._replace(
        text=visible(row.text),
        head=visible(row.head),
        details=tuple(visible(detail) for detail in row.details),
    )
