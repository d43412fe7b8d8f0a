"""The bare facts, for the day when words, pictures or templates fail.

It leans on nothing else in this room but the cleaning of text, and on no template.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final

from windwatch.airmanship.cautions import CAUTION
from windwatch.airmanship.conversions import beside_limits
from windwatch.episodes.values import Step, TrackKind
from windwatch.fleet import Fleet
from windwatch.notices.clean import visible
from windwatch.notices.values import Content, Notice, Situation

_STEPS_SHOWN: Final = 60
_RAW_SHOWN: Final = 2_000
_REPORTS_SHOWN: Final = 3


def compose_plain(notice: Notice, situation: Situation, fleet: Fleet) -> Content:
    """Tell the bare facts: every step with its figure, limit and report, in UTC.

    Parameters
    ----------
    notice, situation, fleet
        As for `windwatch.notices.compose.compose`; of `fleet` only the contact's unit is needed.

    Returns
    -------
    Content
        `html` is empty: the mail is plain text alone.
    """
    unit = fleet.unit_of(notice.contact)
    steps = notice.steps[:_STEPS_SHOWN]
    lines = [_step_line(step, unit) for step in steps]
    first = lines[0] if lines else "state now"
    left = len(notice.steps) - len(steps)
    seen = situation.wind_seen_at
    body = [
        f"{first}; observed {_z(seen)}; valid until {_z(notice.valid_until)}",
        f"{notice.airfield}, to {notice.contact}, made {_z(notice.at)}, {notice.kind}",
        "(The usual words could not be made; these are the bare facts.)",
        "",
        *lines,
        *([f"and {left} more"] if left else []),
        "",
        (
            f"Wind known now, by {situation.station_in_use}: "
            f"{'yes' if situation.wind_known else 'no; that is not calm'}"
        ),
        *_open_lines(situation),
        "",
        *_report_lines(notice, situation),
        "",
        CAUTION,
        f"Notice {notice.id}",
    ]
    text = "".join(f"{visible(line)}\n" for line in body)
    subject = visible(f"{notice.airfield} {notice.at.astimezone(UTC):%H:%MZ}: {first}", 120)
    return Content(subject, text, "", _payload(notice, situation, subject, text))


def _step_line(step: Step, unit: str) -> str:
    figure = ""
    if step.finding is not None:
        found = step.finding
        shown, limit = beside_limits(found.figure, (found.limit.value,), unit)
        figure = (
            f" {_spaced(found.quantity)} {shown} {unit}, limit {limit} {unit} ({found.limit.whose})"
        )
    past = f", past, ended {_z(step.ended_at)}" if step.past else ""
    # What is not known has no level; its last one would read as an answer.
    level = "" if step.track.kind is TrackKind.DATA else f": {step.level.word}"
    return f"{_spaced(step.name)}, {_spaced(step.track.name)}{level}{figure}{past}"


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _open_lines(situation: Situation) -> list[str]:
    return [
        f"Open since {_z(track.since)}: {_spaced(track.track.name)}"
        f"{', standing: no more reminders' if track.standing else ''}"
        for track in situation.open_tracks[:_STEPS_SHOWN]
    ]


def _report_lines(notice: Notice, situation: Situation) -> list[str]:
    reports = {report.id: report for step in notice.steps for report in step.reports}
    if situation.ref is not None:
        reports[situation.ref.id] = situation.ref
    return [
        line
        for report in list(reports.values())[:_REPORTS_SHOWN]
        for line in (f"Received {_z(report.received_at)}:", visible(report.raw, _RAW_SHOWN))
    ]


def _z(at: datetime | None) -> str:
    return "not known" if at is None else f"{at.astimezone(UTC):%Y-%m-%d %H:%MZ}"


def _payload(notice: Notice, situation: Situation, subject: str, text: str) -> dict[str, Any]:
    """The keys a receiver cannot do without; the lists are short, so that it stays small."""
    return {
        "format": "windwatch.notice/1",
        "id": notice.id,
        "kind": notice.kind,
        "contact": notice.contact,
        "airfield": notice.airfield,
        "at": _iso(notice.at),
        "valid_until": _iso(notice.valid_until),
        "urgent": notice.urgent,
        "subject": subject,
        "headline": subject,
        "caution": CAUTION,
        "references": list(notice.references[:20]),
        "replaces": list(notice.replaces[:20]),
        "steps": [
            {
                "id": step.id,
                "episode": step.episode,
                "step": step.name.value,
                "level": step.level.word,
                "figure_kt": None if step.finding is None else step.finding.figure,
                "limit_kt": None if step.finding is None else step.finding.limit.value,
            }
            for step in notice.steps[:20]
        ],
        "wind_known": situation.wind_known,
        "observed_at": _iso(situation.wind_seen_at),
        "text": text[:6_000],
        "plain": True,
    }


def _iso(at: datetime | None) -> str | None:
    return None if at is None else f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
