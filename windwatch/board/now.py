"""One airfield at one moment: what is known of it now, and as a scene for words and advice."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from windwatch.assessment.values import MARK_OF_LEVEL, Assessment, Level, Mark
from windwatch.board.snapshot import FieldRead, Newest, Snapshot
from windwatch.board.values import Stand, When
from windwatch.board.watch_now import is_blind
from windwatch.episodes.intake import wind_is_known
from windwatch.episodes.track import Track
from windwatch.episodes.values import Step, TrackKey, TrackKind
from windwatch.fleet import Airfield, Fleet
from windwatch.notices.scene import Scene, set_scene
from windwatch.notices.situation import every_open_track, make_situation
from windwatch.notices.values import Notice, Situation
from windwatch.notices.words import Times
from windwatch.rules import Rules
from windwatch.wind import PER_KNOT, Wind

UNITS = tuple(PER_KNOT)


@dataclass(frozen=True)
class FieldNow:
    """One airfield at one moment, for one reader.

    Attributes
    ----------
    blind : bool
        No watch works: nothing is known, however young the last observation is.
    unit : str
        The reader's unit of speed; limits are judged in knots.
    """

    read: FieldRead
    fleet: Fleet
    now: datetime
    blind: bool
    unit: str = "kt"

    @property
    def airfield(self) -> Airfield:
        """Its configuration."""
        return self.read.airfield

    @property
    def rules(self) -> Rules:
        """The figures of judgement in force."""
        return self.fleet.rules

    @cached_property
    def times(self) -> Times:
        """Local and UTC."""
        return Times(zone_of(self.airfield), self.now)

    def when(self, moment: datetime) -> When:
        """A moment, local and UTC side by side."""
        return when(moment, self.times)

    @cached_property
    def situation(self) -> Situation:
        """As a notice of this moment would have it, with every open episode, told or not."""
        read = self.read
        found = make_situation(
            self.airfield,
            read.state,
            self.now,
            self._newest,
            read.last_main,
            read.plan.variation_deg,
        )
        # An episode that no contact wants to hear of is on the board all the same.
        ledger = tuple(t if t.contacts else t._replace(contacts=("",)) for t in read.state.ledger)
        state = replace(read.state, ledger=ledger)
        open_now = every_open_track(read.folded, state, self.rules, self.now)
        found = replace(found, open_tracks=tuple(track for _, track in open_now))
        return replace(found, wind_known=False, weather_known=False) if self.blind else found

    @property
    def _newest(self) -> Newest | None:
        if wind_is_known(self.airfield, self.read.state, self.now):
            return self.read.newest_main
        return self.read.newest_any

    @property
    def known(self) -> bool:
        """Whether the present wind is known."""
        return self.situation.wind_known and self.situation.report is not None

    @property
    def weather_known(self) -> bool:
        """Whether the present weather of the field's own station is known."""
        return self.situation.weather_known

    @property
    def wind(self) -> Wind | None:
        """The wind that counts now, or the last known one; None: there never was any."""
        report = self.situation.report
        return None if report is None else report.wind

    @property
    def assessment(self) -> Assessment | None:
        """What that wind means."""
        return self.situation.assessment

    @property
    def fall_back(self) -> bool:
        """Whether another station than the main one is used."""
        return self.situation.station_in_use != self.airfield.station.id

    @cached_property
    def tracks(self) -> dict[TrackKey, Track]:
        """Every subject as it stands over time."""
        return {track.key: track for track in self.read.folded.tracks}

    def track(self, key: TrackKey) -> Track:
        """One subject; new where nothing is remembered of it."""
        return self.tracks.get(key) or Track(key)

    def runways_key(self, aircraft: str, pilot_limits: str) -> TrackKey:
        """The track of an aircraft and pilot standard."""
        return TrackKey(TrackKind.RUNWAYS, self.airfield.id, aircraft, pilot_limits)

    def ground_key(self, aircraft: str, quantity: str) -> TrackKey:
        """The track of an aircraft on the ground."""
        return TrackKey(TrackKind.GROUND, self.airfield.id, aircraft, quantity=quantity)

    @property
    def thunder_key(self) -> TrackKey:
        """The track of thunder at the field."""
        return TrackKey(TrackKind.THUNDER, self.airfield.id)

    def stand(self, level: Level, note: str = "") -> Stand:
        """A level of the wind as it is shown: unknown, with the last known one, if it is not."""
        return stand(level, note, known=self.known)

    def scene(self, steps: tuple[Step, ...], aircraft: str | None = None) -> Scene:
        """A scene as a notice to everybody would have it; or one about this aircraft alone."""
        notice = Notice("", "", self.airfield.id, self.now, "update", steps, False, self.now)
        situation = self.situation
        if aircraft is not None:
            mine = tuple(t for t in situation.open_tracks if t.track.aircraft in ("", aircraft))
            situation = replace(situation, open_tracks=mine)
        return set_scene(notice, situation, self.fleet)


def stand(level: Level, note: str = "", *, known: bool) -> Stand:
    """A level as it is shown; `known` False: unknown, with the last known one beside it."""
    mark = MARK_OF_LEVEL[level]
    return Stand(mark, None, note) if known else Stand(Mark.UNKNOWN, mark)


def field_now(snapshot: Snapshot, airfield: str, now: datetime, unit: str = "kt") -> FieldNow:
    """One airfield at one moment.

    Raises
    ------
    KeyError
        If it is not configured.
    ValueError
        If the unit is none of `UNITS`.
    """
    if unit not in UNITS:
        raise ValueError(f"unit {unit!r} is none of {', '.join(UNITS)}")
    return FieldNow(snapshot.field(airfield), snapshot.fleet, now, is_blind(snapshot, now), unit)


def zone_of(airfield: Airfield) -> ZoneInfo | None:
    """Its time zone; None where it is not known here."""
    try:
        return ZoneInfo(airfield.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return None


def when(moment: datetime, times: Times) -> When:
    """A moment, local and UTC side by side."""
    utc = Times(None, times.today)
    words = times.at(moment)
    local = words.partition(" (")[0].removesuffix(" local")
    return When(moment, words, local, utc.at(moment))
