"""The pages: from one snapshot, a time and the reader's unit to frozen values. Pure.

Whatever decides is worded by the rooms that word notices; here it is put together.
"""

from __future__ import annotations

import platform
from datetime import datetime
from typing import Final

from windwatch import __version__
from windwatch.airmanship import cautions
from windwatch.assessment.values import MARK_OF_LEVEL, Mark
from windwatch.board import view_events, view_figures, view_ground, view_runways, view_stations
from windwatch.board.now import FieldNow, field_now, when, zone_of
from windwatch.board.page_values import (
    AboutPage,
    EpisodePage,
    FieldCard,
    FieldLink,
    FieldPage,
    Frame,
    LevelMeaning,
    LimitLine,
    NoticePage,
    NoticesPage,
    OverviewPage,
    RampCardPage,
)
from windwatch.board.snapshot import EpisodeRead, NoticeDetail, NoticesRead, Snapshot
from windwatch.board.values import Figure, Stand, SubjectField, SubjectRow
from windwatch.board.view_banners import banners, watch_shown
from windwatch.board.view_forecast import forecast_shown, with_forecast
from windwatch.board.view_todo import thunder_shown, todo
from windwatch.drawings.levels import SHAPE_IN_WORDS
from windwatch.fleet import Aircraft, Limit
from windwatch.notices import words
from windwatch.notices.clean import visible
from windwatch.notices.why import reports_shown, why_rows
from windwatch.notices.words import Times
from windwatch.rules import Rules, in_words
from windwatch.store.values import StoredEpisode

CAUTION: Final = (cautions.CAUTION, cautions.PROP_WASH)
IN_FLIGHT: Final = "in flight"
ON_THE_GROUND: Final = "on the ground"


# --- the frame ---------------------------------------------------------------------


def _frame(
    snapshot: Snapshot,
    title: str,
    now: datetime,
    unit: str,
    times: Times,
    fields: tuple[FieldNow, ...],
) -> Frame:
    return Frame(
        title=visible(title),
        now=when(now, times),
        version=snapshot.version(now),
        unit=unit,
        watch=watch_shown(snapshot, times, now),
        banners=banners(snapshot, fields, times, now),
        fields=tuple(
            FieldLink(each.airfield.id, visible(each.airfield.name)) for each in snapshot.fields
        ),
        caution=CAUTION,
    )


def _everywhere(snapshot: Snapshot, now: datetime, unit: str) -> tuple[FieldNow, ...]:
    return tuple(field_now(snapshot, each.airfield.id, now, unit) for each in snapshot.fields)


def _times(snapshot: Snapshot, now: datetime) -> Times:
    """Local time where all airfields share a zone, else UTC alone."""
    zones = {each.airfield.time_zone for each in snapshot.fields}
    return Times(zone_of(snapshot.fields[0].airfield) if len(zones) == 1 else None, now)


def _home(snapshot: Snapshot, airfield: str, now: datetime, unit: str) -> FieldNow | None:
    """The airfield of an episode or a notice; None where it is not configured any more."""
    try:
        return field_now(snapshot, airfield, now, unit)
    except KeyError:
        return None


# --- airfields ---------------------------------------------------------------------


def overview(snapshot: Snapshot, now: datetime, unit: str = "kt") -> OverviewPage:
    """All airfields.

    Parameters
    ----------
    snapshot : Snapshot
    now : datetime
        Aware, UTC.
    unit : str
        The reader's: ``kt``, ``m/s``, ``km/h``, ``mph``.
    """
    fields = _everywhere(snapshot, now, unit)
    frame = _frame(snapshot, "All airfields", now, unit, _times(snapshot, now), fields)
    return OverviewPage(frame, tuple(_field_card(here) for here in fields))


def _field_card(here: FieldNow) -> FieldCard:
    rows = view_runways.subject_rows(here)
    seen = here.situation.wind_seen_at
    notices = [view_events.notice_card(each, here.times) for each in here.read.notices]
    return FieldCard(
        id=here.airfield.id,
        name=visible(here.airfield.name),
        todo=todo(here),
        wind_known=here.known,
        wind=view_figures.wind_shown(here.wind, here.read.plan.variation_deg, here.unit),
        station=here.situation.station_in_use,
        observed=None if seen is None else here.when(seen),
        drawing=_drawing(here, rows, None),
        open_episodes=len(here.situation.open_tracks),
        failed_notices=sum(each.failed for each in notices),
    )


def _drawing(
    here: FieldNow, rows: tuple[SubjectRow, ...], chosen: str | None
) -> SubjectField | None:
    row = view_runways.chosen_subject(rows, chosen)
    return None if row is None else view_runways.field_for(here, row)


def field_page(
    snapshot: Snapshot, airfield: str, now: datetime, unit: str = "kt", chosen: str | None = None
) -> FieldPage:
    """The board of one airfield, and its kiosk.

    Parameters
    ----------
    chosen : str or None
        `SubjectRow.key` of the aircraft and pilot standard to draw the field for.

    Raises
    ------
    KeyError
        If the airfield is not configured.
    """
    here = field_now(snapshot, airfield, now, unit)
    rows = view_runways.subject_rows(here)
    situation = here.situation
    seen, due = situation.wind_seen_at, situation.next_report_due
    scene = here.scene(())
    title = f"{here.airfield.id} {here.airfield.name}"
    return FieldPage(
        frame=_frame(snapshot, title, now, unit, here.times, (here,)),
        id=here.airfield.id,
        name=visible(here.airfield.name),
        wind_known=here.known,
        wind=view_figures.wind_shown(here.wind, here.read.plan.variation_deg, unit),
        station_in_use=situation.station_in_use,
        observed=None if seen is None else here.when(seen),
        due=None if due is None else here.when(due),
        overdue=due is not None and due < now,
        todo=todo(here),
        thunder=thunder_shown(here),
        drawing=_drawing(here, rows, chosen),
        subjects=rows,
        legs=view_ground.leg_cards(here, here.read.craft),
        legs_note=view_ground.legs_note(here),
        parked=view_ground.parked_cards(here),
        strip=with_forecast(view_stations.strip(here), here),
        forecast=forecast_shown(here),
        episodes=view_events.open_cards(here),
        notices=tuple(view_events.notice_card(each, here.times) for each in here.read.notices),
        stations=view_stations.station_cards(here),
        why=tuple(visible(row.line) for row in why_rows(scene)),
        evidence=view_events.evidence(reports_shown(scene), here.times),
        taxi_stopped=view_ground.taxi_stopped(here),
    )


def ramp_card(
    snapshot: Snapshot, airfield: str, aircraft: str, now: datetime, unit: str = "kt"
) -> RampCardPage:
    """Today's card for one aircraft.

    Raises
    ------
    KeyError
        If the airfield is not configured, or the aircraft not based there.
    """
    here = field_now(snapshot, airfield, now, unit)
    craft = next((each for each in here.read.craft if each.name == aircraft), None)
    if craft is None:
        raise KeyError(aircraft)
    rows = view_runways.subject_rows(here, aircraft)
    seen, due = here.situation.wind_seen_at, here.situation.next_report_due
    local = now.astimezone(here.times.zone) if here.times.zone else now
    return RampCardPage(
        frame=_frame(snapshot, f"{aircraft} at {airfield}", now, unit, here.times, (here,)),
        id=here.airfield.id,
        name=visible(here.airfield.name),
        day=here.times.dated(now).partition(f" {local:%H:%M}")[0] + f" {local.year}",
        aircraft=craft.name,
        description=visible(craft.description),
        types=f"{words.GEAR[craft.gear]}, {words.WING[craft.wing]}",
        wind_known=here.known,
        wind=view_figures.wind_shown(here.wind, here.read.plan.variation_deg, unit),
        observed=None if seen is None else here.when(seen),
        station_in_use=here.situation.station_in_use,
        due=None if due is None else here.when(due),
        todo=todo(here, aircraft),
        drawing=_drawing(here, rows, None),
        subjects=rows,
        limits=_limit_lines(here, craft),
        demonstrated=_demonstrated(craft),
        legs=view_ground.leg_cards(here, (craft,)),
        legs_note=view_ground.legs_note(here),
        parked=view_ground.parked_cards(here, aircraft)[0],
        taxi_stopped=tuple(name for name in view_ground.taxi_stopped(here) if name == aircraft),
    )


def _demonstrated(craft: Aircraft) -> str:
    if craft.demonstrated_crosswind is None:
        return ""
    shown = words.kt(craft.demonstrated_crosswind)
    return f"demonstrated crosswind {shown}, which is no limitation"


def _limit_lines(here: FieldNow, craft: Aircraft) -> tuple[LimitLine, ...]:
    """The limits in force, each once; of a runway of its own where they differ there."""
    found: dict[tuple[str, Limit], list[str]] = {}
    runways: dict[str, int] = {}
    for subject in here.read.plan.subjects:
        if subject.aircraft != craft.name:
            continue
        whom = subject.pilot_limits or view_runways.ANYBODY
        runways[whom] = len(subject.runways)
        for runway in subject.runways:
            for bound in runway.limits:
                found.setdefault((whom, bound.limit), []).append(runway.name)
    lines = [
        _limit_line(
            here,
            f"{IN_FLIGHT}, {whom}"
            + ("" if len(names) == runways[whom] else f", {words.listed(names)}"),
            limit,
        )
        for (whom, limit), names in found.items()
    ]
    lines += [
        _limit_line(here, ON_THE_GROUND, ground.thresholds.limit)
        for ground in here.read.plan.ground
        if ground.aircraft == craft.name
    ]
    return tuple(lines)


def _limit_line(here: FieldNow, applies_to: str, limit: Limit) -> LimitLine:
    mean = "mean " if limit.of.value == "mean" else ""
    name = mean + words.quantity(limit.quantity)
    return LimitLine(
        applies_to=visible(applies_to),
        quantity=limit.quantity,
        name=name,
        limit_kt=limit.value,
        whose=limit.whose,
        words=visible(f"{name} {words.kt(limit.value)} ({limit.whose})"),
        beside=view_figures.speed_beside(limit.value, here.unit),
    )


# --- what happened -------------------------------------------------------------------


def episode_page(
    snapshot: Snapshot, read: EpisodeRead, now: datetime, unit: str = "kt"
) -> EpisodePage:
    """One episode."""
    stored = read.episode
    here = _home(snapshot, stored.airfield, now, unit)
    times = here.times if here is not None else _times(snapshot, now)
    first = read.steps[0].name if read.steps else None
    card = view_events.stored_card(stored, times, here, first)
    fields = () if here is None else (here,)
    return EpisodePage(
        frame=_frame(snapshot, f"Episode {card.short}: {card.subject}", now, unit, times, fields),
        episode=card,
        worst=_worst(stored, card.stand, unit),
        steps=view_events.step_lines(read.steps, times),
        notices=tuple(view_events.notice_card(each, times) for each in read.notices),
        acknowledgements=tuple(view_events.acknowledgement(each, times) for each in read.noted),
        can_acknowledge=stored.closed_at is None,
        acknowledged_for=in_words(snapshot.fleet.rules.acknowledged_for),
    )


def _worst(stored: StoredEpisode, stand: Stand, unit: str) -> Figure | None:
    """The worst figure, with the level that it had: it is past, and needs no present wind."""
    if stored.worst is None:
        return None
    level = MARK_OF_LEVEL[stored.worst.level]
    shown = Stand(level) if stored.closed_at is not None else stand
    return view_figures.make_figure(stored.worst, shown, unit)


def notices_page(
    snapshot: Snapshot, read: NoticesRead, now: datetime, unit: str = "kt"
) -> NoticesPage:
    """What was sent, and what failed."""
    times = _times(snapshot, now)
    zones = {here.airfield.id: here.times for here in _everywhere(snapshot, now, unit)}
    cards = tuple(
        view_events.notice_card(each, zones.get(each.notice.airfield, times))
        for each in read.notices
    )
    return NoticesPage(
        frame=_frame(snapshot, "Notices", now, unit, times, ()),
        since=when(read.since, times),
        notices=cards,
        more=read.more,
        dead=sum(card.failed for card in cards),
    )


def notice_page(
    snapshot: Snapshot, detail: NoticeDetail, now: datetime, unit: str = "kt"
) -> NoticePage:
    """One notice."""
    notice = detail.read.notice
    here = _home(snapshot, notice.airfield, now, unit)
    times = here.times if here is not None else _times(snapshot, now)
    card = view_events.notice_card(detail.read, times)
    deliveries = tuple(
        view_events.delivery(each, times, detail.attempts.get(each.id, ()))
        for each in detail.read.deliveries
    )
    fields = () if here is None else (here,)
    return NoticePage(
        frame=_frame(snapshot, f"Notice {card.short}", now, unit, times, fields),
        notice=card._replace(deliveries=deliveries),
        valid_until=when(notice.valid_until, times),
        text=detail.read.text,
        late_because=visible(notice.late_because),
        steps=view_events.step_lines(notice.steps, times),
        episodes=tuple(view_events.stored_card(each, times, here) for each in detail.episodes),
    )


# --- about ---------------------------------------------------------------------------


def about_page(snapshot: Snapshot, now: datetime, unit: str = "kt") -> AboutPage:
    """Words, shapes, rules and versions."""
    times = _times(snapshot, now)
    rules = snapshot.fleet.rules
    near = f"{100 * rules.near_at:g} %"
    meanings = {
        Mark.WITHIN: "by a report that is fresh: at or below the limit, and not near it",
        Mark.NEAR: f"at or below the limit, and beyond {near} of it where it sets no other share",
        Mark.OVER: "above the limit, or not yet back within it by the rule below",
        Mark.UNKNOWN: "the present wind is not known: never to be taken for within",
    }
    return AboutPage(
        frame=_frame(snapshot, "About this board", now, unit, times, ()),
        levels=tuple(
            LevelMeaning(Stand(mark), SHAPE_IN_WORDS[mark], meaning)
            for mark, meaning in meanings.items()
        ),
        rules=_rules(rules),
        versions=(("windwatch", __version__), ("Python", platform.python_version())),
    )


def _rules(rules: Rules) -> tuple[str, ...]:
    return (
        "One report over a limit opens an alert, unless the limit asks for several.",
        (
            f"It is back within limits after {rules.low_reports} reports at least "
            f"{in_words(rules.low_apart)} apart below the limit less its margin, "
            f"{in_words(rules.runway_hold)} after the last one over, "
            f"{in_words(rules.parked_hold)} for parked aircraft."
        ),
        (
            f"The margin is {rules.deadband_kt:g} kt or {100 * rules.deadband_share:g} % of the "
            "limit, the larger of the two."
        ),
        (
            f"After thunder, squall or wind shift nothing is called back for "
            f"{in_words(rules.convective_hold)}."
        ),
        "A wind that was not reported is unknown, which is never calm and never within limits.",
        "Limits are judged in knots; figures in other units stand beside.",
    )
