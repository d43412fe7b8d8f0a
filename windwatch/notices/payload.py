"""A notice for machines: the JSON that a webhook receives.

Keys are stable; new ones may be added. Times are ISO 8601, UTC, ending in Z. Speeds are knots;
only in ``subject``, ``headline`` and ``text`` they are in the contact's unit.

===================  ==================================================================
format               ``windwatch.notice/1``
id                   the notice; the same in every try and after a restart
kind                 ``alert``, ``update``, ``cancel``, ``state now``, ``test``
contact, airfield    names as configured
at, valid_until      when it was made; after when it is no longer current
urgent               goes by the urgent schedule
subject, headline    one line each, for people
caution              who decides; show it wherever figures are shown
references           ids of earlier notices about the same episodes, first one first
replaces             ids of the notices that this one replaces
late_because         why it is late; '' when it is not
steps[]              what changed: ``id, episode, step`` (``opened, worsened, near, back,
                     withdrawn, no_data, data_back, runway_out, runway_back, reminder,
                     easing, unsettled, ended``), ``track {kind, aircraft, pilot_limits,
                     quantity}``, ``at``, ``level``, ``figure_kt, limit_kt, whose, quantity,
                     at_least`` (null where there is no figure), ``end, runway, remaining[]``,
                     ``since, ended_at, past``, ``worst_kt``, ``reports[]`` (ids), ``reason``,
                     ``affected[]`` (tracks)
open[]               what else is open: ``track, episode, since, easing,
                     acknowledged_by, standing, figure_kt, limit_kt`` (the present figure,
                     or null; standing: open so long that nobody is reminded any more)
wind                 as `windwatch decode` gives it; null when not reported
wind_known           false: ``wind`` is the last known one, not the present one
observed_at, age_min of that wind
station              who reported it
fall_back            it covers for the field's own station
next_report_due      or null
variation_deg        at the field, east positive
raw_report           the newest report with a wind, as received (at most 2,000 characters)
reports[]            every report behind it: ``id, station, kind, observed_at, received_at,
                     fall_back, corrected, raw``
taxi[]               ``leg, heading_true_deg, heading_magnetic_deg, approximate,
                     holds[] {gear, wings[], aircraft[], words, positions}``; positions as
                     `windwatch taxi --json` gives them
parked[]             ``aircraft, gear, wing, wing_lift {low, high}|null``: 1.0 is all its weight
reminders[]          for them, in the order of doing: ``text, source, aircraft[]``
text                 the whole notice for people
acknowledge_url      where links are configured: a page on which people can take note of it
left_out             {list: how many entries were left out} to stay within 20 kB
===================  ==================================================================
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Final, NamedTuple

from windwatch.airmanship import cautions, control_words
from windwatch.airmanship.components import round_half_up_tenth
from windwatch.assessment.values import Finding
from windwatch.episodes.values import ReportRef, Step, TrackKey
from windwatch.notices.advice import Advice, LegAdvice, ParkedAdvice, merged_reminders
from windwatch.notices.clean import REPORT_LIMIT, visible
from windwatch.notices.lighten import Load, within_size
from windwatch.notices.page import Page
from windwatch.notices.scene import Scene, present_finding
from windwatch.notices.values import Notice, OpenTrack
from windwatch.notices.why import reports_shown
from windwatch.reports.as_json import wind_as_json

FORMAT: Final = "windwatch.notice/1"


class Draft(NamedTuple):
    """A payload without what is one contact's own, and how long it is.

    Nothing in it is ever changed: the payloads of several contacts hold the same lists.

    Attributes
    ----------
    weights : dict of str to int
        Bytes of each entry of the payload, by name.
    lengths : dict of str to list of int
        Bytes of each entry of its lists, by name.
    """

    payload: dict[str, Any]
    weights: dict[str, int]
    lengths: dict[str, list[int]]


def draft(scene: Scene, page: Page, subject: str, advice: Advice) -> Draft:
    """All that contacts who hear the same have in common."""
    payload = _common(scene, page, subject, advice)
    load = Load(payload, {}, {})
    for name, value in payload.items():
        load.put(name, value)
    return Draft(load.payload, load.weights, load.lengths)


def as_payload(common: Draft, notice: Notice, text: str, link: str = "") -> dict[str, Any]:
    """The notice as JSON values, at most 20 kB when written compactly in UTF-8."""
    own = {
        "id": notice.id,
        "contact": notice.contact,
        "references": list(notice.references),
        "text": text,
        "left_out": {},
    }
    if link:
        own["acknowledge_url"] = link
    load = Load(common.payload | own, dict(common.weights), dict(common.lengths))
    for name, value in own.items():
        load.put(name, value)
    return within_size(load)


def _common(scene: Scene, page: Page, subject: str, advice: Advice) -> dict[str, Any]:
    notice = scene.notice
    situation = scene.situation
    report = situation.report
    age = situation.age
    return {
        "format": FORMAT,
        "id": "",
        "kind": notice.kind,
        "contact": "",
        "airfield": notice.airfield,
        "at": moment(notice.at),
        "valid_until": moment(notice.valid_until),
        "urgent": notice.urgent,
        "subject": subject,
        "headline": page.headline,
        "caution": cautions.CAUTION,
        "references": [],
        "replaces": list(notice.replaces),
        "late_because": visible(notice.late_because),
        "steps": [step_as_json(step) for step in scene.steps],
        "open": [_open(scene, track) for track in scene.others_open],
        "wind": wind_as_json(report.wind) if report else None,
        "wind_known": scene.known,
        "observed_at": moment(situation.wind_seen_at),
        "age_min": None if age is None else int(age.total_seconds() // 60),
        "station": situation.station_in_use,
        "fall_back": scene.fall_back,
        "next_report_due": moment(situation.next_report_due),
        "variation_deg": round(situation.variation_deg, 2),
        "raw_report": visible(situation.ref.raw, REPORT_LIMIT) if situation.ref else None,
        "reports": [_report(report) for report in reports_shown(scene)],
        "taxi": [_leg(leg) for leg in advice.taxi],
        "parked": [_parked(parked) for parked in advice.parked],
        "reminders": [
            {"text": reminder.text, "source": reminder.source, "aircraft": list(whose)}
            for reminder, whose in merged_reminders(advice.parked)
        ],
        "text": "",
        "left_out": {},
    }


@lru_cache(maxsize=256)
def moment(at: datetime | None) -> str | None:
    """ISO 8601 in UTC with Z, to the second."""
    return None if at is None else f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def step_as_json(step: Step) -> dict[str, Any]:
    """One step, with null where it has no figure."""
    return {
        "id": step.id,
        "episode": step.episode,
        "step": step.name.value,
        "track": _track(step.track),
        "at": moment(step.at),
        "level": step.level.word,
        **_figures(step.finding),
        "end": step.end,
        "runway": step.runway,
        "remaining": list(step.remaining),
        "since": moment(step.since),
        "ended_at": moment(step.ended_at),
        "past": step.past,
        "worst_kt": None if step.worst is None else step.worst.figure,
        "reports": [report.id for report in step.reports],
        "reason": visible(step.reason, 300),
        "affected": [_track(track) for track in step.affected],
    }


def _track(track: TrackKey) -> dict[str, str]:
    return {
        "kind": track.kind.value,
        "aircraft": track.aircraft,
        "pilot_limits": track.pilot_limits,
        "quantity": track.quantity,
    }


def _figures(finding: Finding | None) -> dict[str, Any]:
    if finding is None:
        return {
            "figure_kt": None,
            "limit_kt": None,
            "whose": None,
            "quantity": None,
            "at_least": False,
        }
    return {
        "figure_kt": finding.figure,
        "limit_kt": finding.limit.value,
        "whose": finding.limit.whose,
        "quantity": finding.quantity,
        "at_least": finding.at_least,
    }


def _open(scene: Scene, track: OpenTrack) -> dict[str, Any]:
    finding = present_finding(scene, track.track)
    return {
        "track": _track(track.track),
        "episode": track.episode,
        "since": moment(track.since),
        "easing": track.easing,
        "acknowledged_by": track.acknowledged_by,
        "standing": track.standing,
        "figure_kt": None if finding is None else finding.figure,
        "limit_kt": None if finding is None else finding.limit.value,
    }


def _report(report: ReportRef) -> dict[str, Any]:
    return {
        "id": report.id,
        "station": report.station,
        "kind": report.kind,
        "observed_at": moment(report.observed_at),
        "received_at": moment(report.received_at),
        "fall_back": report.fall_back,
        "corrected": report.corrected,
        "raw": visible(report.raw, REPORT_LIMIT),
    }


def _leg(leg: LegAdvice) -> dict[str, Any]:
    return {
        "leg": leg.name,
        "heading_true_deg": round_half_up_tenth(leg.heading_true),
        "heading_magnetic_deg": round_half_up_tenth(leg.heading_magnetic),
        "approximate": leg.approximate,
        "holds": [
            {
                "gear": hold.gear.value,
                "wings": [wing.value for wing in hold.wings],
                "aircraft": list(hold.aircraft),
                "words": control_words.in_words(hold.positions),
                "positions": hold.positions.as_json(),
            }
            for hold in leg.holds
        ],
    }


def _parked(advice: ParkedAdvice) -> dict[str, Any]:
    lift = advice.lift
    return {
        "aircraft": advice.craft.name,
        "gear": advice.craft.gear.value,
        "wing": advice.craft.wing.value,
        "wing_lift": None
        if lift is None
        else {"low": round(lift.low, 2), "high": round(lift.high, 2)},
    }
