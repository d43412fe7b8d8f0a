"""The values of pages out of a store; what is written is only that somebody took note."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from windwatch.board import as_json, faces, openapi, view
from windwatch.board.event_values import EpisodeCard
from windwatch.board.faces import Asked, LinkShown
from windwatch.board.noting import Told, acknowledge, contact_of, shown, take_note
from windwatch.board.reading import Reading
from windwatch.settings.running import Settings
from windwatch.store.store import Store
from windwatch.wiring import status_path


class StoreSource:
    """Values of one configuration and one store, either of which may be exchanged.

    Parameters
    ----------
    settings : Settings
    store : Store
    """

    def __init__(self, settings: Settings, store: Store) -> None:
        self._lock = threading.Lock()
        self._store = store
        self._settings = settings
        self._in_force: Callable[[], Settings] = lambda: settings
        self._reading = Reading(settings, store, status_path(settings))

    def follow(self, settings: Callable[[], Settings]) -> None:
        """Show the configuration that is in force, whatever it will be."""
        self._in_force = settings

    def use(self, store: Store) -> None:
        """Read another store from now on."""
        with self._lock:
            self._store = store
            self._reading = Reading(self._settings, store, status_path(self._settings))

    def _read_by(self) -> Reading:
        """What reads the store by the configuration in force."""
        settings = self._in_force()
        if settings is not self._settings:
            with self._lock:
                self._settings = settings
                self._reading = Reading(settings, self._store, status_path(settings))
        return self._reading

    # --- looking ------------------------------------------------------------------

    def version(self, now: datetime) -> str:
        """Different as soon as any page may look different."""
        return self._read_by().version(now)

    def page(self, asked: Asked, now: datetime) -> Any:
        """The values of a page.

        Raises
        ------
        KeyError
            If there is no such airfield, aircraft, episode or notice.
        StoreError
            If the store cannot be read.
        """
        reading = self._read_by()
        snapshot = reading.snapshot(now)
        unit = asked.unit
        match asked.page:
            case faces.OVERVIEW:
                return view.overview(snapshot, now, unit)
            case faces.FIELD | faces.KIOSK:
                return view.field_page(snapshot, asked.id, now, unit, asked.subject or None)
            case faces.CARD:
                return view.ramp_card(snapshot, asked.id, asked.aircraft, now, unit)
            case faces.EPISODE:
                return view.episode_page(snapshot, reading.episode(asked.id), now, unit)
            case faces.NOTICES:
                return view.notices_page(snapshot, reading.notices(now), now, unit)
            case faces.NOTICE:
                return view.notice_page(snapshot, reading.notice(asked.id), now, unit)
            case faces.ABOUT:
                return view.about_page(snapshot, now, unit)
            case _:
                raise KeyError(asked.page)

    def as_json(self, values: Any) -> Mapping[str, Any]:
        """The same values for machines."""
        return as_json.as_json(values)

    def openapi(self) -> Mapping[str, Any]:
        """What the addresses below /api give."""
        return openapi.openapi()

    def sole_field(self) -> str:
        """The airfield, where only one is watched; '' where there are several."""
        airfields = self._settings.fleet.airfields
        return airfields[0].id if len(airfields) == 1 else ""

    # --- taking note ----------------------------------------------------------------

    def acknowledge(self, episodes: tuple[str, ...], by: str, note: str, now: datetime) -> None:
        """Write that somebody took note of episodes, as `windwatch acknowledge` does.

        Raises
        ------
        KeyError
            If there is none of such an id; then nothing is written.
        StoreError
            If it cannot be written.
        """
        acknowledge(self._store, episodes, by, note, now)

    def contact_of(self, notice: str) -> str | None:
        """To whom a notice went; None where there is none of that id."""
        return contact_of(self._store, notice)

    def link(self, notice: str, contact: str, now: datetime) -> LinkShown:
        """What a signed link to a notice is about, as it stands now."""
        return shown(self._told(notice, contact, now), self._describe)

    def take_note(self, notice: str, contact: str, now: datetime) -> LinkShown:
        """Take note, in a contact's name, of every open episode of a notice; once is enough."""
        return take_note(self._store, self._told(notice, contact, now), self._describe)

    def _told(self, notice: str, contact: str, now: datetime) -> Told:
        return Told(self._store, self._settings.fleet, notice, contact, now)

    def _describe(self, episode: str, now: datetime) -> str:
        card: EpisodeCard = self.page(Asked(faces.EPISODE, episode), now).episode
        return f"{card.subject}: {card.text}"
