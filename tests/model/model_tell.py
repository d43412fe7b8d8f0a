"""The simple model of who is told what, when: what is true, held against what was said."""

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from tests.model.model_figures import NEAR, OVER, Bounds, above
from tests.model.model_fold import Course, History, Seen, Span
from windwatch.fleet import (
    PARKED_QUANTITIES,
    RUNWAY_QUANTITIES,
    Airfield,
    Contact,
    Fleet,
    RunwaySteps,
)
from windwatch.reports.decode import decode_report, identity
from windwatch.reports.raw import RawReport

Told = tuple[datetime, str, str]  # time, step, track

AHEAD = timedelta(minutes=10)
TOO_OLD = timedelta(hours=6)
PAST = timedelta(hours=2)
STANDING = timedelta(hours=24)
GATHER = timedelta(seconds=60)
HOUR = timedelta(hours=1)
# Beyond so many notices in an hour the non-urgent wait for room (promise 14). These go at once
# where they are a first crossing or a new worst; else an hour is shared out evenly among them.
MOST = 6
NEVER_WAIT = {"opened", "unsettled", "worsened", "withdrawn", "no_data"}


@dataclass
class Said:
    """An episode (or a spell near a limit, or the loss of a runway) that was made known."""

    span: Span
    heard: set[str]
    worst: float = 0.0
    over: bool = False  # it has ended, and that was made known
    implied: bool = False  # a runway whose loss the episode itself tells
    withdrawn: bool = False
    until: datetime | None = None  # of a near: when it was over
    goes_on_as: str = ""  # what closed and opened again before it could be told is one episode

    def end(self, true: list[Span]) -> Span:
        """Of the spans that are true at its time and all over, the one that ended it."""
        return next((s for s in true if s.opened_by == self.goes_on_as), true[0])


@dataclass
class Listener:
    """What one contact has heard."""

    contact: Contact
    last_notice: datetime | None = None
    notices: list[datetime] = field(default_factory=list)
    waiting: list[tuple[str, str]] = field(default_factory=list)
    listed: dict[str, datetime] = field(default_factory=dict)
    silent_on: set[str] = field(default_factory=set)


class Model:
    """One airfield: hand it reports and ticks; `told` is the stream of each contact."""

    def __init__(self, fleet: Fleet, airfield: Airfield, began: datetime) -> None:
        self.fleet, self.airfield, self.began = fleet, airfield, began
        self.listeners = [Listener(contact) for contact in fleet.contacts]
        self.told: dict[str, list[Told]] = {c.name: [] for c in fleet.contacts}
        self.seen: list[tuple[Seen, int]] = []
        self.missed_since: datetime | None = None
        self.answered_since: datetime | None = None
        self.not_watched_since: datetime | None = None
        self.keys: set[str] = set()
        self.in_force: list[Seen] = []
        self.history = History(fleet, airfield, [])
        self.said: dict[str, list[Said]] = defaultdict(list)
        self.nears: dict[str, list[Said]] = defaultdict(list)
        self.lost: dict[tuple[str, str], list[Said]] = defaultdict(list)
        self.bounds = {
            f"{limit.quantity} {craft.name}": Bounds.of(limit)
            for craft in fleet.based_at(airfield.id)
            for limit in craft.limits
            if limit.quantity not in RUNWAY_QUANTITIES
        }

    # --- events -----------------------------------------------------------

    def reports(self, raws: list[RawReport], now: datetime) -> None:
        known = len(self.seen)
        for raw in raws:
            self._accept(raw, now)
        since = self.missed_since
        if since is not None and any(seen.at > since for seen, _ in self.seen[known:]):
            self.missed_since, self.answered_since = None, since
        self.in_force = self._settled()
        self.history = History(self.fleet, self.airfield, self.in_force)
        self._say(now)
        self.answered_since = None

    def missed(self, raws: list[RawReport], since: datetime, now: datetime) -> None:
        """What a feed gives after a time in which nobody watched (*Restart*; promises 6 and 9):
        judged at its own times, and what ended meanwhile is told however long ago. A feed that has
        nothing new then has not answered yet.
        """
        self._note_gap(since, now)
        self.reports(raws, now)
        self.not_watched_since = None

    def feed_down(self, since: datetime, now: datetime) -> None:
        """The first turn after such a time, at which the feed says nothing: told all the same."""
        self._note_gap(since, now)
        self._say(now)
        self.not_watched_since = None

    def _note_gap(self, since: datetime, now: datetime) -> None:
        known = [at for at in (self.history.wind_at, self.history.weather_at) if at is not None]
        found = min(since, *known) if known else since
        self.missed_since = found if self.missed_since is None else min(found, self.missed_since)
        self.not_watched_since = since if now - since > self.airfield.stale_after else None

    def tick(self, now: datetime) -> None:
        self._say(now)

    def _accept(self, raw: RawReport, now: datetime) -> None:
        report = decode_report(raw.text, raw.received_at, raw.observed_at, raw.kind)
        at = report.observed_at
        if report.station != self.airfield.station.id or at is None:
            return
        if raw.station_asked not in (None, report.station):
            return
        key = identity(report)
        missed = self.missed_since is not None and at > self.missed_since
        if at > now + AHEAD or (now - at > TOO_OLD and not missed) or key in self.keys:
            return
        self.keys.add(key)
        self.seen.append((Seen(report, key), len(self.seen)))

    def _settled(self) -> list[Seen]:
        """Corrections replace; of two texts for one time without a correction both count."""
        groups: dict[tuple[datetime, str], list[tuple[Seen, int]]] = defaultdict(list)
        for seen, number in self.seen:
            groups[seen.at, seen.report.kind].append((seen, number))
        kept = []
        for group in groups.values():
            rank = max(seen.report.correction for seen, _ in group)
            kept += [(s, n) for s, n in group if s.report.correction == rank]
        kept.sort(key=lambda pair: (pair[0].at, pair[1]))
        return [seen for seen, _ in kept]

    # --- what is true against what was said ---------------------------------

    def _say(self, now: datetime) -> None:
        out: dict[str, list[tuple[str, str]]] = defaultdict(list)
        self.made: list[tuple[str, str]] = []
        for name, course in self.history.tracks.items():
            self._say_episode(name, course, now, out)
            self._say_runways(name, course, now, out)
            self._say_near(name, course, now, out)
        if self.not_watched_since is not None:
            for one in self.listeners:
                levels = one.contact.tell_about.levels
                if levels is None or "unknown" in levels:
                    out[one.contact.name].append(("data_back", f"watch {self.airfield.id}"))
        self._say_silence(now, out)
        self._remind(now, out)
        self._send(now, out)

    def _say_episode(self, name, course: Course, now, out) -> None:
        said = self.said[name]
        for one in said:
            if not one.withdrawn:
                true = [s for s in course.overs if s.overlaps(one.span)]
                self._say_known(name, one, true, course, now, out)
        for span in course.overs:
            if any(self._covers(one, span, course) for one in said):
                continue
            missed = self.answered_since
            if (
                not span.open
                and not (missed is not None and span.closed_at >= missed)
                and (now - span.closed_at > PAST)
            ):
                said.append(Said(span, set(), over=True))
                continue
            step = "unsettled" if span.unsettled and span.open else "opened"
            heard = self._hear(name, step)
            said.append(Said(replace(span), heard, over=not span.open))
            said[-1].worst = max(figure for _, figure in span.figures)
            self._tell(out, heard, step, name)
            if span.open:
                self._imply(name, course, heard)
        self._worsen(name, course, out)

    def _covers(self, one: Said, span: Span, course: Course) -> bool:
        """Whether a span is what was made known. What people hold open covers all that follows,
        but not what has ended, too, after its own end: that is a crossing of its own, and past.
        """
        if one.withdrawn or not one.span.overlaps(span):
            return False
        true = [s for s in course.overs if s.overlaps(one.span)]
        return one.over or true[-1].open or span.opened_at <= one.end(true).opened_at

    def _say_known(self, name, one: Said, true: list[Span], course: Course, now, out) -> None:
        """An episode that was made known, and the spans that are true at its time."""
        if not true:
            if not one.over:
                self._tell(out, one.heard, "withdrawn", name)
            one.over = one.withdrawn = True
            one.span = replace(one.span, closed_at=one.span.closed_at or now)
        elif one.over:
            if true[-1].open and not self._known(self.said[name], one, true[-1]):
                # The all-clear was not true: the same episode goes on.
                self._tell(out, one.heard, "opened", name)
                self._imply(name, course, one.heard)
                one.over, one.span = False, replace(true[-1], opened_at=true[0].opened_at)
                one.worst = max(one.worst, *(figure for _, figure in true[-1].figures))
        elif true[-1].open:
            one.span = replace(true[-1], opened_at=true[0].opened_at)
            one.goes_on_as = true[-1].opened_by
        elif self.fresh(name, now):  # nothing old ends an episode
            one.over, one.span = True, replace(one.end(true), opened_at=true[0].opened_at)
            self._tell(out, one.heard, "back", name)

    def fresh(self, name: str, now: datetime) -> bool:
        thunder = name.startswith("thunder")
        seen_at = self.history.weather_at if thunder else self.history.wind_at
        return seen_at is not None and now - seen_at < self.airfield.stale_after

    def _known(self, said: list[Said], one: Said, span: Span) -> bool:
        """Whether people have been told of a later opening that is still open."""
        return any(s is not one and not s.over and s.span.overlaps(span) for s in said)

    def _worsen(self, name, course: Course, out) -> None:
        if name not in self.bounds or course.level != OVER:
            return
        known = [s for s in self.said[name] if s.span.overlaps(course.overs[-1])]
        one = next(s for s in reversed(known) if not s.over)
        # What closed and opened again before it could be told is one episode to people; but not
        # what was told meanwhile as past.
        last = course.overs[-1]
        others = {s.span.opened_by for s in self.said[name] if s is not one}
        between = [s for s in course.overs if s.overlaps(one.span) and s.opened_by not in others]
        parts = [last, *between]
        worst = max(figure for span in parts for _, figure in span.figures)
        if not above(one.worst + self.bounds[name].worse_by, worst):
            self._tell(out, one.heard, "worsened", name)
            one.worst = worst

    def _imply(self, name, course: Course, heard: set[str]) -> None:
        """None left tells the loss of every runway, to those who hear each."""
        each = {
            x.contact.name
            for x in self.listeners
            if x.contact.tell_about.runways is RunwaySteps.EACH
        }
        for runway, own in course.runways.items():
            losses = self.lost[name, runway]
            if own.overs and not any(
                s.span.overlaps(own.overs[-1]) and not s.withdrawn for s in losses
            ):
                losses.append(Said(replace(own.overs[-1]), heard & each, implied=True))

    def _say_runways(self, name, course: Course, now, out) -> None:
        for runway, own in course.runways.items():
            row = f"{name} {runway}"
            losses = self.lost[name, runway]
            for one in sorted(losses, key=lambda loss: loss.over):  # the open ones first
                true = [s for s in own.overs if s.overlaps(one.span)]
                if one.over:
                    self._say_lost_again(row, course, one, true, losses, out)
                else:
                    self._say_loss(name, row, one, true, now, out)
            if not own.overs or not own.overs[-1].open:
                continue
            span = own.overs[-1]
            if not any(not s.withdrawn and s.span.overlaps(span) for s in losses):
                heard = self._hear(row, "runway_out", best=span.was_best)
                losses.append(Said(replace(span), heard))
                self._tell(out, heard, "runway_out", row)

    def _say_loss(self, name, row, one: Said, true: list[Span], now, out) -> None:
        """The loss of a runway that is known: it was not so, or it is back."""
        if not true or (one.implied and self._opening_withdrawn(name, one)):
            if not one.implied:
                self._tell(out, one.heard, "withdrawn", row)
            one.over = one.withdrawn = True
        elif true[-1].open:
            # *Back* names the runways that remain: the others are known to be out by themselves.
            one.implied = one.implied and ("back", name) not in self.made
        elif self.fresh(name, now):
            one.over, one.span = True, true[-1]
            if ("back", name) not in self.made:
                self._tell(out, one.heard, "runway_back", row)

    def _say_lost_again(self, row, course: Course, one: Said, true, losses, out) -> None:
        """The return of a runway that is known: it was not so."""
        if one.withdrawn or not true or not true[-1].open:
            return
        if self._known(losses, one, true[-1]):
            return
        one.over, one.span = False, replace(true[-1])
        one.implied = course.level == OVER
        if not one.implied:
            heard = self._hear(row, "runway_out", best=true[-1].was_best)
            self._tell(out, heard, "runway_out", row)
            one.heard |= heard

    def _opening_withdrawn(self, name, loss: Said) -> bool:
        return not any(not s.withdrawn and s.span.overlaps(loss.span) for s in self.said[name])

    def _say_near(self, name, course: Course, now, out) -> None:
        said = self.nears[name]
        for one in said:
            if one.withdrawn or (one.over and not course.nears):
                continue
            same = [s for s in course.nears if s.opened_by == one.span.opened_by]
            near = same or [s for s in course.nears if s.overlaps(one.span)]
            over = [s for s in course.overs if s.overlaps(one.span)]
            if not one.over and course.level == NEAR:
                near = course.nears  # it was near, and is
            if near:
                over = not near[-1].open
                one.until = near[-1].closed_at if over and not one.over else one.until
                since = [s.opened_at for s in course.nears if s.overlaps(one.span)]
                first = min([*since, near[-1].opened_at])
                one.over, one.span = over, replace(near[-1], opened_at=first)
                continue
            if not over and not one.over:
                one.withdrawn = True
                self._tell(out, one.heard, "withdrawn", name)
            if not one.over:
                one.over, one.span = True, replace(one.span, closed_at=now)
        if course.level != NEAR or course.nears[-1].silent:
            return
        span = course.nears[-1]
        if any(s.span.overlaps(span) and not s.over for s in said):
            return
        if ("withdrawn", name) in self.made and self._near_goes_on(said, span):
            return
        heard = self._hear(name, "near")
        said.append(Said(replace(span), heard))
        self._tell(out, heard, "near", name)

    def _near_goes_on(self, said: list[Said], span: Span) -> bool:
        """People knew it near until an opening that is withdrawn now: it is near still."""
        for one in said:
            if one.until is not None and span.opened_at < one.until and not one.withdrawn:
                one.over, one.span = False, replace(span)
                return True
        return False

    # --- silence and reminders ------------------------------------------------

    def _say_silence(self, now: datetime, out) -> None:
        groups = {
            "wind": (self.history.wind_at, ("runways", "taxi", "tie_down", "shelter")),
            "thunder": (self.history.weather_at, ("thunder",)),
        }
        for group, (newest, kinds) in groups.items():
            name = f"{group} {self.airfield.id}"
            seen_at = newest or self.began
            unknown = now - seen_at >= self.airfield.stale_after
            for one in self.listeners:
                about = one.contact.tell_about
                if about.levels is not None and "unknown" not in about.levels:
                    continue
                if group in one.silent_on and not unknown:
                    one.silent_on.discard(group)
                    out[one.contact.name].append(("data_back", name))
                if not unknown or group in one.silent_on:
                    continue
                holds = any(
                    track.split()[0] in kinds and not s.over and one.contact.name in s.heard
                    for track, all_said in self.said.items()
                    for s in all_said
                )
                # Who hears of one silence hears of the other in the same notice.
                holds = holds or any(s == "no_data" for s, _ in out.get(one.contact.name, ()))
                if group == "thunder" and not about.thunder:
                    continue
                if holds or self._missing_for(seen_at, now) >= self.airfield.no_data_after:
                    one.silent_on.add(group)
                    out[one.contact.name].append(("no_data", name))

    def _missing_for(self, seen_at: datetime, now: datetime) -> timedelta:
        """How long reports have been missing that should have come (*Stale*, last sentence):
        counted by the minute, only those since the opening and none while it is closed.
        """
        hours = self.airfield.reports_between
        if hours is None:
            return now - seen_at
        zone, found = ZoneInfo(self.airfield.time_zone), timedelta(0)
        while now - found > seen_at:
            local = (now - found).astimezone(zone).time()
            if not (hours.opens <= local < hours.closes):
                break
            found += timedelta(minutes=1)
        return found

    def _remind(self, now: datetime, out) -> None:
        news = {name for name, steps in out.items() if steps}
        for name, all_said in self.said.items():
            course = self.history.tracks[name]
            # From *over* only (table of section 2): what has ended by reports that are stale, so
            # that nobody could be told, is not *still past the limit* either.
            if name.split()[0] not in PARKED_QUANTITIES or course.level != OVER or course.easing:
                continue
            for said in all_said:
                if said.over or now - said.span.opened_at >= STANDING:
                    continue
                for one in self.listeners:
                    who = one.contact.name
                    since = one.listed.get(name)
                    if who not in said.heard or since is None or who in news:
                        continue
                    if now - since >= self.fleet.rules.remind_every:
                        out[who].append(("reminder", name))

    # --- who hears it, and when -------------------------------------------------

    def _hear(self, track: str, step: str, *, best: bool = False) -> set[str]:
        heard = set()
        for one in self.listeners:
            about = one.contact.tell_about
            if about.airfields and self.airfield.id not in about.airfields:
                continue
            kind = track.split(maxsplit=1)[0]
            if kind == "runways":
                craft, pilot = track.removeprefix("runways ").split(" / ")
                right = {
                    "near": about.runways is not RunwaySteps.NONE,
                    "runway_out": about.runways is RunwaySteps.EACH
                    or (best and about.runways is RunwaySteps.BEST),
                }.get(step, about.runways is not RunwaySteps.NONE)
                if about.pilot_limits and not any(pilot.startswith(p) for p in about.pilot_limits):
                    continue
            elif kind == "thunder":
                craft, right = "", about.thunder
            else:
                craft, right = track.split()[1], about.ground
            if craft and about.aircraft and craft not in about.aircraft:
                continue
            if step == "near":
                wanted = about.levels
                right = right and (kind != "runways" if wanted is None else "near" in wanted)
            elif about.levels is not None:
                right = right and "over" in about.levels
            if right:
                heard.add(one.contact.name)
        return heard

    def _may_go(self, one: Listener, now: datetime) -> bool:
        if sum(now - at < HOUR for at in one.notices) < MOST:
            return True
        if any(self._is_first(one, step, track, now) for step, track in one.waiting):
            return True
        never = any(step in NEVER_WAIT for step, _ in one.waiting)
        return never and now - one.notices[-1] >= HOUR / MOST

    def _is_first(self, one: Listener, step: str, track: str, now: datetime) -> bool:
        """A new worst, or an opening of what the contact has not heard of in the last hour."""
        if step != "opened":
            return step == "worsened"
        heard = [s for s in self.said[track] if one.contact.name in s.heard]
        return all(s.over and now - (s.span.closed_at or now) > HOUR for s in heard[:-1])

    def _is_near(self, track: str) -> bool:
        return any(not one.over for one in self.nears[track])

    def _tell(self, out, heard: set[str], step: str, track: str) -> None:
        self.made.append((step, track))
        for name in heard:
            out[name].append((step, track))

    def _send(self, now: datetime, out) -> None:
        for one in self.listeners:
            name = one.contact.name
            one.waiting += out.get(name, [])
            if not one.waiting:
                continue
            if one.last_notice is not None and now - one.last_notice < GATHER:
                continue
            if not self._may_go(one, now):
                one.waiting = [(s, t) for s, t in one.waiting if s != "near" or self._is_near(t)]
                continue
            one.notices.append(now)
            self.told[name] += [(now, step, track) for step, track in one.waiting]
            one.waiting = []
            one.last_notice = now
            for track, all_said in self.said.items():
                if any(not s.over and name in s.heard for s in all_said):
                    one.listed[track] = now
                else:
                    one.listed.pop(track, None)
