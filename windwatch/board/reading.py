"""From the store and the watch's state to one frozen snapshot, read only.

The watch may go on beside it: this opens no transaction that writes, and takes no lead. However
many look, the store is read once for each change.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Final

from windwatch import pipeline
from windwatch.board.forecast_read import read_forecast
from windwatch.board.snapshot import (
    EpisodeRead,
    FieldRead,
    Newest,
    NoticeDetail,
    NoticeRead,
    NoticesRead,
    Observation,
    Snapshot,
    WatchRead,
)
from windwatch.board.watch_now import silent_at
from windwatch.episodes.books import Books, Setup
from windwatch.episodes.entries import Entry, stations_of
from windwatch.episodes.intake import cover_with_fall_back
from windwatch.episodes.reporting import next_report_due
from windwatch.episodes.state import AirfieldState
from windwatch.errors import StoreError
from windwatch.fleet import Airfield
from windwatch.notices.values import Content, Notice
from windwatch.record import configured, load_states
from windwatch.reports.decode import read_wind
from windwatch.settings.running import Settings
from windwatch.store.glance import (
    crossings,
    deliveries_of,
    latest_acknowledgements,
    latest_notices,
    pulse,
)
from windwatch.store.store import Store
from windwatch.store.values import Acknowledgement, StoredEpisode, StoredReport
from windwatch.upkeep import health
from windwatch.wiring import status_path

log = logging.getLogger(__name__)

BACK: Final = timedelta(hours=24)
NOTICES_BACK: Final = timedelta(days=7)
FIELD_NOTICES: Final = 20
MOST_NOTICES: Final = 200
# The store is asked whether anything changed at most so often, whoever looks.
LOOK_EVERY: Final = timedelta(seconds=0.5)
# What leaves the last 24 hours, or lapses, changes no version: it may show so much later.
READ_ANEW: Final = timedelta(minutes=5)
# Kept in memory: a station of its own reports once a minute, and 24 hours of three are this.
_WINDS_KEPT: Final = 6_000
_NOTICES_KEPT: Final = 400


class Reading:
    """Reads a store for everybody who looks; safe to use from several threads.

    Parameters
    ----------
    settings : Settings
        By which airfields and limits are shown.
    store : Store
        Beside a watch or its own; only read.
    status_file : Path or None
        The watch's state; None: where the watch of this configuration writes it.
    """

    def __init__(self, settings: Settings, store: Store, status_file: Path | None = None) -> None:
        self._settings = settings
        self._store = store
        self._status_file = status_path(settings) if status_file is None else status_file
        self._setup = Setup(settings.fleet)
        self._config: str | None = None
        self._lock = threading.RLock()
        self._last: Snapshot | None = None
        self._looked_at: datetime | None = None
        self._beat = ""
        self._read_at = datetime.min.replace(tzinfo=UTC)
        self._books: dict[str, tuple[AirfieldState, Books]] = {}
        self._winds: OrderedDict[str, Observation] = OrderedDict()
        self._notices: OrderedDict[str, tuple[Notice, Content]] = OrderedDict()

    # --- the snapshot that all share ------------------------------------------------

    def snapshot(self, now: datetime) -> Snapshot:
        """The state as it stands, read anew only where something changed.

        Parameters
        ----------
        now : datetime
            Aware, UTC.

        Raises
        ------
        StoreError
            If the store cannot be read, and never could be.
        """
        with self._lock:
            last = self._last
            if last is not None and self._is_recent(now):
                return last
            self._looked_at = now
            try:
                self._last = self._look(last, now)
            except StoreError as error:
                if last is None:
                    raise
                log.error("board_store_unreadable", extra={"problem": str(error)})  # noqa: TRY400 - said in words
                self._last = replace(last, store_problem=True, watch=self._read_watch())
            return self._last

    def version(self, now: datetime) -> str:
        """Different as soon as a page may look different; what a live view waits for."""
        return self.snapshot(now).version(now)

    def _is_recent(self, now: datetime) -> bool:
        looked = self._looked_at
        return looked is not None and timedelta(0) <= now - looked < LOOK_EVERY

    def _look(self, last: Snapshot | None, now: datetime) -> Snapshot:
        found = pulse(self._store)
        beat = f"{found.event}-{found.digest}"
        watch = self._read_watch()
        written = 0 if watch.health is None else int(watch.health.written_at.timestamp())
        stored = f"{beat}-{written}{'' if watch.there else 'n'}"
        if last is None or not self._still_holds(last, beat, now):
            self._beat, self._read_at = beat, now
            return self._read(stored, watch, now)
        if stored == last.stored:
            return last
        # Only the watch's own state is new.
        turns = _turns(last.fields, watch)
        return replace(last, stored=stored, watch=watch, turns=turns, read_at=now)

    def _still_holds(self, last: Snapshot, beat: str, now: datetime) -> bool:
        """Whether the store says what it said, and nothing has become too old meanwhile."""
        return (
            beat == self._beat
            and not last.store_problem
            and last.version(now) == last.version(last.read_at)
            and timedelta(0) <= now - self._read_at < READ_ANEW
        )

    def _read(self, stored: str, watch: WatchRead, now: datetime) -> Snapshot:
        fleet = self._settings.fleet
        states = load_states(self._store)
        acknowledged = self._acknowledged(self._store.episodes(open_only=True), now)
        fields = tuple(
            self._read_field(each, states.get(each.id), acknowledged, now)
            for each in fleet.airfields
        )
        seen = self._store.last_settings()
        if self._config is None:
            self._config = configured(fleet, now).fingerprint
        return Snapshot(
            stored,
            now,
            fleet,
            watch,
            fields,
            _turns(fields, watch),
            other_settings=seen is not None and seen.fingerprint != self._config,
        )

    def _read_watch(self) -> WatchRead:
        try:
            found = health.read(self._status_file)
        except ValueError as error:
            return WatchRead(problem=str(error))
        if found is None:
            return WatchRead()
        led_until = None
        if found.state == health.STANDING_BY:
            leader = self._store.leader()
            led_until = None if leader is None else leader.until
        return WatchRead(found, health.runs(found), led_until=led_until)

    # --- one airfield ---------------------------------------------------------------

    def _read_field(
        self,
        airfield: Airfield,
        state: AirfieldState | None,
        acknowledged: Mapping[str, Acknowledgement],
        now: datetime,
    ) -> FieldRead:
        setup = self._setup
        # The ledger is left as the watch kept it: what ends is for the watch to say.
        books = cover_with_fall_back(setup, airfield, self._restored(airfield, state, now), now)
        main = [entry for entry in books.state.entries if not entry.fall_back]
        return FieldRead(
            airfield=airfield,
            craft=setup.fleet.based_at(airfield.id),
            state=books.state,
            folded=books.folded,
            plan=setup.plan(airfield, now.date()),
            newest_main=self._newest(airfield, main),
            newest_any=self._newest(airfield, books.state.entries),
            last_main=main[-1].ref if main else None,
            observations=MappingProxyType(
                {
                    station: self._observations(station, now - BACK)
                    for station in stations_of(airfield)
                }
            ),
            crossings=crossings(self._store, airfield.id, now - BACK),
            noted=acknowledged,
            notices=self._notices_read(
                latest_notices(self._store, now - BACK, FIELD_NOTICES, airfield.id)
            ),
            forecast=read_forecast(self._store, airfield.forecast_station),
        )

    def _restored(self, airfield: Airfield, state: AirfieldState | None, now: datetime) -> Books:
        """The books, folded anew only where the watch has written others."""
        if state is None:
            return pipeline.begin(self._setup, airfield, now)
        known = self._books.get(airfield.id)
        if known is not None and known[0] == state:
            return known[1]
        books = pipeline.restore(self._setup, airfield, state)
        self._setup.keep_only(airfield, (*state.entries, *state.standby))
        self._books[airfield.id] = (state, books)
        return books

    def _newest(self, airfield: Airfield, entries: Iterable[Entry]) -> Newest | None:
        for entry in reversed(tuple(entries)):
            if self._setup.report(airfield, entry).wind is not None:
                report, assessment = self._setup.read(airfield, entry)
                return entry.ref, report, assessment
        return None

    def _observations(self, station: str, since: datetime) -> tuple[Observation, ...]:
        found: dict[datetime, Observation] = {}
        for stored in self._store.reports_of(station, since):
            if stored.observed_at is None or stored.status not in _BELIEVED:
                continue
            # What is kept later corrects what was kept before for the same time.
            found[stored.observed_at] = self._observation(stored, stored.observed_at)
        return tuple(found[at] for at in sorted(found))

    def _observation(self, stored: StoredReport, observed_at: datetime) -> Observation:
        known = self._winds.get(stored.id)
        if known is None:
            wind = read_wind(stored.raw, stored.received_at).wind
            known = Observation(
                stored.id, stored.kind, observed_at, stored.received_at, stored.raw, wind
            )
            self._winds[stored.id] = known
            if len(self._winds) > _WINDS_KEPT:
                self._winds.popitem(last=False)
        self._winds.move_to_end(stored.id)
        return known

    def _acknowledged(
        self, still: tuple[StoredEpisode, ...], now: datetime
    ) -> Mapping[str, Acknowledgement]:
        """Who took note last of what is open, while that stops its reminders."""
        if not still:
            return MappingProxyType({})
        since = now - self._settings.fleet.rules.acknowledged_for
        found = latest_acknowledgements(self._store, [each.id for each in still], since)
        return MappingProxyType(
            {
                episode: Acknowledgement(episode, by, at, note)
                for episode, (by, at, note) in found.items()
            }
        )

    # --- notices and episodes ---------------------------------------------------------

    def notices(self, now: datetime) -> NoticesRead:
        """The latest notices about every airfield.

        Raises
        ------
        StoreError
            If the store cannot be read.
        """
        since = now - NOTICES_BACK
        with self._lock:
            ids = latest_notices(self._store, since, MOST_NOTICES + 1)
            notices = self._notices_read(ids[:MOST_NOTICES])
        return NoticesRead(since, notices, len(ids) > MOST_NOTICES)

    def notice(self, notice: str) -> NoticeDetail:
        """One notice, with every try at it.

        Raises
        ------
        KeyError
            If there is none of that id.
        StoreError
            If the store cannot be read.
        """
        with self._lock:
            found = self._notices_read((notice,))
            if not found:
                raise KeyError(notice)
        read = found[0]
        about = dict.fromkeys(step.episode for step in read.notice.steps)
        episodes = (self._store.episode(episode) for episode in about)
        return NoticeDetail(
            read,
            {each.id: self._store.attempts(each.id) for each in read.deliveries},
            tuple(each for each in episodes if each is not None),
        )

    def episode(self, episode: str) -> EpisodeRead:
        """One episode, with its steps, notices and who took note.

        Raises
        ------
        KeyError
            If there is none of that id.
        StoreError
            If the store cannot be read.
        """
        stored = self._store.episode(episode)
        if stored is None:
            raise KeyError(episode)
        notices = tuple(
            NoticeRead(each.notice, each.content.subject, each.content.text, each.deliveries)
            for each in reversed(self._store.notices_of(episode))
        )
        return EpisodeRead(
            stored, self._store.steps(episode), notices, self._store.acknowledgements(episode)
        )

    def _notices_read(self, ids: Iterable[str]) -> tuple[NoticeRead, ...]:
        """Notices with their deliveries; what does not change is read once."""
        known: dict[str, tuple[Notice, Content]] = {}
        for id_ in ids:
            kept = self._notices.get(id_)
            if kept is None:
                stored = self._store.notice(id_)
                if stored is None:
                    continue
                content = stored.content
                # The HTML and the payload are not shown, and are most of it.
                kept = (stored.notice, Content(content.subject, content.text, "", {}))
                self._notices[id_] = kept
                if len(self._notices) > _NOTICES_KEPT:
                    self._notices.popitem(last=False)
            else:
                self._notices.move_to_end(id_)
            known[id_] = kept
        if not known:
            return ()
        deliveries = deliveries_of(self._store, known)
        return tuple(
            NoticeRead(notice, content.subject, content.text, deliveries[id_])
            for id_, (notice, content) in known.items()
        )


# Of a stored report: whatever was believed, judged or not.
_BELIEVED: Final = frozenset({"accepted", "standby", "late"})


def _turns(fields: tuple[FieldRead, ...], watch: WatchRead) -> tuple[datetime, ...]:
    """When what is known changes by itself."""
    found: list[datetime] = []
    for read in fields:
        airfield, state = read.airfield, read.state
        seen = [each.at for each in (state.wind, state.weather) if each is not None]
        seen += [entry.observed_at for entry in (*state.standby, *state.entries[-2:])]
        found += [at + airfield.stale_after for at in seen]
        if read.forecast is not None:
            found += [spell.to_at for spell in read.forecast.forecast.spells]
        if read.last_main is not None:
            found.append(next_report_due(airfield, read.last_main.observed_at))
    if watch.health is not None:
        # A moment later: until then it is not over yet.
        found.append(silent_at(watch.health) + timedelta(milliseconds=1))
        if watch.led_until is not None:
            found.append(watch.led_until)
    return tuple(sorted(set(found)))
