"""Aircraft × pilot standard × runway, and the field drawing for one of them."""

from __future__ import annotations

from typing import Final

from windwatch.airmanship.components import round_half_up_tenth
from windwatch.airmanship.variation import true_heading
from windwatch.assessment.values import EndFinding, Level, Mark, RunwayFinding, RunwaysFinding
from windwatch.board.now import FieldNow
from windwatch.board.values import EndRow, Figure, SubjectField, SubjectRow
from windwatch.board.view_figures import figure, stand_of
from windwatch.board.view_steps import runway_step
from windwatch.board.view_todo import remains
from windwatch.drawings.field_facts import Field, FieldEnd, FieldLeg, FieldRunway, end_of
from windwatch.fleet import Runway
from windwatch.notices import words
from windwatch.notices.clean import visible
from windwatch.wind import Knots

ANYBODY: Final = "anybody"
_WORST: Final = (Mark.OVER, Mark.NEAR, Mark.UNKNOWN, Mark.WITHIN)


def subject_rows(here: FieldNow, aircraft: str | None = None) -> tuple[SubjectRow, ...]:
    """Every aircraft and pilot standard on every runway that they may use."""
    assessment = here.assessment
    if assessment is None:
        return ()
    return tuple(
        _row(here, found)
        for found in assessment.runways
        if aircraft in (None, found.aircraft)
    )  # fmt: skip


def key_of(aircraft: str, pilot_limits: str) -> str:
    """What names a subject in an address."""
    return f"{aircraft}/{pilot_limits}"


def _row(here: FieldNow, found: RunwaysFinding) -> SubjectRow:
    track = here.track(here.runways_key(found.aircraft, found.pilot_limits))
    held = {standing.runway: standing.level for standing in track.standing}
    order = [standing.runway for standing in track.standing]
    runways = sorted(
        found.runways,
        key=lambda each: order.index(each.runway) if each.runway in order else len(order),
    )
    step = runway_step(here, found.aircraft, found.pilot_limits, found.level)
    notes = dict.fromkeys(
        visible(f"{each.runway}: {note}") for each in runways for note in each.notes
    )
    deciding = None if not runways else runways[0].best.deciding
    if not runways:
        note = "no runway may be used"
        stand = here.stand(Level.OVER, note)
    else:
        stand = stand_of(here, deciding, max(track.level, step.level))
    return SubjectRow(
        key=key_of(found.aircraft, found.pilot_limits),
        who=words.subjects([(found.aircraft, found.pilot_limits)]),
        aircraft=found.aircraft,
        pilot_limits=found.pilot_limits or ANYBODY,
        stand=stand,
        remaining=_remaining(here, runways, held),
        remains=visible(remains(here, step)),
        ends=tuple(
            _end(here, each, end, held.get(each.runway, Level.WITHIN))
            for each in runways
            for end in sorted(each.ends, key=lambda end: end.end != each.best.end)
        ),
        notes=tuple(notes) if here.known else (),
    )


def _remaining(
    here: FieldNow, runways: list[RunwayFinding], held: dict[str, Level]
) -> tuple[str, ...]:
    """The better ends of the runways that are not over, best first; none while not known."""
    if not here.known:
        return ()
    return tuple(
        each.best.end
        for each in runways
        if max(each.best.level, held.get(each.runway, Level.WITHIN)) is not Level.OVER
    )


def _end(here: FieldNow, runway: RunwayFinding, found: EndFinding, held: Level) -> EndRow:
    deciding: Figure | None = None
    if found.deciding is not None:
        deciding = figure(here, found.deciding, held)
    headwind = _tenth(found.headwind) if here.known else None
    crosswind = _tenth(found.crosswind) if here.known else None
    return EndRow(
        runway=runway.runway,
        end=found.end,
        heading_true_deg=round_half_up_tenth(found.heading_true),
        approximate=found.approximate,
        best=found.end == runway.best.end,
        stand=stand_of(here, found.deciding, max(held, found.level)),
        headwind_kt=headwind,
        crosswind_kt=crosswind,
        along=_along(headwind),
        across=_across(crosswind),
        deciding=deciding,
        others=tuple(figure(here, each) for each in found.findings if each != found.deciding),
    )


def _tenth(speed: Knots | None) -> float | None:
    return None if speed is None else round_half_up_tenth(speed)


def _along(headwind_kt: float | None) -> str:
    if headwind_kt is None:
        return ""
    return f"{'tailwind' if headwind_kt < 0 else 'headwind'} {words.kt(abs(headwind_kt))}"


def _across(crosswind_kt: float | None) -> str:
    if crosswind_kt is None:
        return ""
    side = "" if crosswind_kt == 0 else f" from the {'right' if crosswind_kt > 0 else 'left'}"
    return f"crosswind {words.kt(abs(crosswind_kt))}{side}"


# --- the drawing --------------------------------------------------------------------


def chosen_subject(rows: tuple[SubjectRow, ...], key: str | None) -> SubjectRow | None:
    """The subject asked for; without one, or an unknown one, that which the wind restricts most."""
    for row in rows:
        if row.key == key:
            return row
    return min(rows, key=_restriction, default=None)


def _restriction(row: SubjectRow) -> tuple[int, int, float]:
    mark = row.stand.last_known or row.stand.mark
    shares = [
        end.deciding.figure_kt / end.deciding.limit_kt
        for end in row.ends
        if end.best and end.deciding is not None and end.deciding.limit_kt > 0
    ]
    return _WORST.index(mark), len(row.remaining), -min(shares, default=0.0)


def field_for(here: FieldNow, row: SubjectRow) -> SubjectField:
    """The field as it is drawn for one subject."""
    shown = {(end.runway, end.end): end for end in row.ends}
    judged = {each.runway: each for each in _found(here, row.key)}
    runways = tuple(
        FieldRunway(tuple(_drawn(here, end, shown[runway.name, end.end]) for end in found.ends))
        if (found := judged.get(runway.name)) is not None
        else _not_judged(here, runway)
        for runway in here.airfield.runways
    )
    field = Field(
        name=f"{here.airfield.id} {here.airfield.name}".strip(),
        wind=here.wind if here.known else None,
        runways=runways,
        legs=tuple(
            FieldLeg(leg.name, true_heading(leg.heading, here.read.plan.variation_deg)[0])
            for leg in here.airfield.taxi_legs
        ),
        for_whom=row.who,
        as_of=as_of(here),
    )
    return SubjectField(row.key, row.who, field)


def as_of(here: FieldNow) -> str:
    """When and by whom the wind was observed; of an unknown one, the last known."""
    seen = here.situation.wind_seen_at
    if seen is None:
        return "nothing is known"
    at = here.times.at(seen)
    if not here.known:
        return f"not known; last known {words.wind_short(here.wind)} at {at}"
    by = f" by {here.situation.station_in_use}" if here.fall_back else ""
    return f"observed{by} {at}"


def _found(here: FieldNow, key: str) -> tuple[RunwayFinding, ...]:
    assessment = here.assessment
    for found in () if assessment is None else assessment.runways:
        if key_of(found.aircraft, found.pilot_limits) == key:
            return found.runways
    return ()


def _drawn(here: FieldNow, found: EndFinding, row: EndRow) -> FieldEnd:
    """An end as judged, with the level that is held where it is not yet back within limits."""
    end = end_of(found, here.unit, known=here.known)
    reason = f"{end.reason}, not yet back" if row.stand.note else end.reason
    return end._replace(mark=row.stand.mark, reason=reason)


def _not_judged(here: FieldNow, runway: Runway) -> FieldRunway:
    """A runway that this subject may not use, or that has no limits: drawn, and nothing said."""
    ends = []
    for end in runway.ends:
        heading, approximate = true_heading(end.heading, here.read.plan.variation_deg)
        ends.append(FieldEnd(end.name, heading, None, approximate=approximate))
    return FieldRunway(tuple(ends))
