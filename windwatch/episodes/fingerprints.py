"""What each track is judged by, as a short text that changes when the limits do.

The figures of judgement are no part of it: with another margin the limits are still the same, so
levels and episodes go on (`windwatch.episodes.rules_changed`).
"""

from __future__ import annotations

from windwatch.assessment.limits import Thresholds, thresholds
from windwatch.assessment.plan import ground_limits, runway_limits, standards_of
from windwatch.episodes.values import TrackKey, TrackKind, computed_id
from windwatch.fleet import Airfield, Fleet, Limit
from windwatch.rules import USUAL


def fingerprints(fleet: Fleet, airfield: Airfield) -> tuple[tuple[str, str], ...]:
    """Track and fingerprint of everything that is watched at an airfield, sorted."""
    found: dict[str, str] = {}
    for aircraft in fleet.based_at(airfield.id):
        for name in standards_of(aircraft):
            key = TrackKey(TrackKind.RUNWAYS, airfield.id, aircraft.name, name)
            pilot = fleet.pilot_limits.get(name)
            found[str(key)] = computed_id(
                *(
                    # Notes are words, and the runway's own limits are among the thresholds.
                    repr((runway.name, runway.ends, runway.uses, limits))
                    for runway in airfield.runways
                    for limits in (_usual_thresholds(runway_limits(aircraft, pilot, runway)),)
                )
            )
        for limit in ground_limits(aircraft):
            key = TrackKey(TrackKind.GROUND, airfield.id, aircraft.name, quantity=limit.quantity)
            found[str(key)] = computed_id(repr(limit), found.get(str(key), ""))
    found[str(TrackKey(TrackKind.THUNDER, airfield.id))] = computed_id("thunder")
    return tuple(sorted(found.items()))


def _usual_thresholds(limits: tuple[Limit, ...]) -> tuple[Thresholds, ...]:
    """The limits as fingerprints have always been taken of them: with the usual margins."""
    return tuple(thresholds(limit, USUAL) for limit in limits)
