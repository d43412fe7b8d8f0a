"""Stations side by side, and the wind strip of the last 24 hours."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from windwatch.assessment.values import Mark
from windwatch.board.now import FieldNow, zone_of
from windwatch.board.snapshot import Observation
from windwatch.board.trend import trend_in_words
from windwatch.board.values import StationCard
from windwatch.board.view_figures import wind_shown
from windwatch.drawings.strip_facts import Strip, StripFlag, StripLimit, StripPoint
from windwatch.fleet import SHELTER, TAXI, TIE_DOWN, WIND, Limit, Station
from windwatch.notices import words
from windwatch.notices.clean import REPORT_LIMIT, visible
from windwatch.notices.figures import track_words
from windwatch.store.glance import Crossing

MOST_LIMITS: Final = 6
# Which limits on the wind's speed are drawn first.
_DRAWN: Final = (TIE_DOWN, WIND, TAXI, SHELTER)


def station_cards(here: FieldNow) -> tuple[StationCard, ...]:
    """The main station and its fall-backs, in order."""
    field = here.airfield
    main = _card(here, field.station, "main station")
    others = [
        _card(here, station, f"fall-back {number}")
        for number, station in enumerate(field.fall_back_stations, 1)
    ]
    return (main, *others)


def _card(here: FieldNow, station: Station, role: str) -> StationCard:
    observed = here.read.observations.get(station.id, ())
    newest = next((each for each in reversed(observed) if each.wind is not None), None)
    main = station.id == here.airfield.station.id
    due = here.situation.next_report_due if main else None
    seen = None if newest is None else newest.observed_at
    known = seen is not None and not here.blind and here.now - seen < here.airfield.stale_after
    in_use = here.known and here.situation.station_in_use == station.id
    return StationCard(
        id=station.id,
        role=role,
        in_use=in_use,
        known=known,
        observed=None if seen is None else here.when(seen),
        age_min=None if seen is None else max(0, int((here.now - seen).total_seconds() // 60)),
        due=None if due is None else here.when(due),
        overdue=due is not None and due < here.now,
        wind=None
        if newest is None
        else wind_shown(newest.wind, here.read.plan.variation_deg, here.unit),
        trend=trend_in_words(observed, here.times, here.now) if observed else "",
        where=where(station, here),
        raw="" if not observed else visible(observed[-1].raw, REPORT_LIMIT),
    )


def where(station: Station, here: FieldNow) -> str:
    """Distance, bearing and height against the field; '' where they are not known."""
    if station.id == here.airfield.id:
        return "the field's own"
    parts = []
    if station.distance_nm is not None:
        parts.append(f"{words.number(station.distance_nm)} NM from the field")
    if station.bearing_true is not None:
        parts.append(f"bearing {words.degrees(station.bearing_true)} true")
    if station.elevation_ft is not None:
        difference = round(station.elevation_ft - here.airfield.elevation_ft)
        height = f"{abs(difference)} ft {'higher' if difference > 0 else 'lower'} than the field"
        parts.append(height if difference else "at the field's elevation")
    return ", ".join(parts)


# --- the strip -----------------------------------------------------------------------


def strip(here: FieldNow) -> Strip:
    """The last 24 hours of the main station; of the one in use where it said nothing."""
    station = here.airfield.station.id
    observed = here.read.observations.get(station, ())
    if not observed and here.fall_back:
        station = here.situation.station_in_use
        observed = here.read.observations.get(station, ())
    return Strip(
        name=station,
        now=here.now,
        points=tuple(_point(each) for each in observed),
        limits=strip_limits(here),
        flags=(*_crossings(here.read.crossings), *_notices(here)),
        gap_after=here.airfield.stale_after,
        zone=zone_of(here.airfield),
    )


def _point(observation: Observation) -> StripPoint:
    return StripPoint(observation.observed_at, observation.wind)


def strip_limits(here: FieldNow) -> tuple[StripLimit, ...]:
    """Limits on the wind's speed from wherever it blows; equal ones share a line."""
    whose: dict[tuple[int, float], list[Limit]] = {}
    for limit in _limits(here):
        if limit.quantity in _DRAWN:
            key = (_DRAWN.index(limit.quantity), limit.value)
            known = whose.setdefault(key, [])
            if all(limit.whose != each.whose for each in known):
                known.append(limit)
    # First the lowest of each quantity: what is reached first.
    lowest: dict[int, int] = {}
    order = []
    for kind, value in sorted(whose):
        lowest[kind] = lowest.get(kind, 0) + 1
        order.append((lowest[kind], kind, value))
    lines = [
        StripLimit(whose[kind, value][0].value, _label(whose[kind, value]))
        for _, kind, value in sorted(order)[:MOST_LIMITS]
    ]
    return tuple(sorted(lines))


def _limits(here: FieldNow) -> Iterable[Limit]:
    plan = here.read.plan
    for subject in plan.subjects:
        for runway in subject.runways:
            yield from (bound.limit for bound in runway.limits)
    yield from (ground.thresholds.limit for ground in plan.ground)


def _label(limits: list[Limit]) -> str:
    names = ", ".join(limit.whose for limit in limits[:3])
    more = f", +{len(limits) - 3}" if len(limits) > 3 else ""
    return visible(f"{names}{more} {words.quantity(limits[0].quantity)}")


def _crossings(crossings: Iterable[Crossing]) -> tuple[StripFlag, ...]:
    """Where limits were crossed, and where it was back; what happened at once shares a flag."""
    found: dict[tuple[datetime, Mark], list[str]] = {}
    for each in crossings:
        mark = Mark.OVER if each.over else Mark.WITHIN
        found.setdefault((each.at, mark), []).append(visible(track_words(each.track)))
    return tuple(
        StripFlag(at, _first_of(list(dict.fromkeys(subjects))), mark)
        for (at, mark), subjects in sorted(found.items())
    )


def _notices(here: FieldNow) -> tuple[StripFlag, ...]:
    found: dict[datetime, list[str]] = {}
    for each in here.read.notices:
        found.setdefault(each.notice.at, []).append(visible(f"to {each.notice.contact}"))
    return tuple(StripFlag(at, _first_of(names)) for at, names in sorted(found.items()))


def _first_of(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]}, +{len(names) - 1}"


def track_in_words(track: str) -> str:
    """A track, as the store names it, in words: ``tie-down X-WREN``."""
    kind, _, aircraft, pilot, measured = (track.split("/") + [""] * 5)[:5]
    subject = words.subjects([(aircraft, pilot)]) if aircraft else ""
    return visible(" ".join(part for part in (words.quantity(measured or kind), subject) if part))
