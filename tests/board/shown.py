"""The sample pages behind the real server, for a real browser to look at."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from typing import Any

from tests.board import samples
from windwatch.board import faces
from windwatch.board.app import Board
from windwatch.board.faces import Asked, LinkShown
from windwatch.board.pages import HtmlPages
from windwatch.board.server import Server
from windwatch.clock import SystemClock
from windwatch.settings.running import BoardValues

STALE = "STALE"
CROWD = "CROWD"
EPISODE = samples.EPISODES[0].id
CLOSED = samples.CLOSED.id
NOTICE = samples.NOTICES[1].id

# Every page by its address: levels of every kind, a stale station, a failed delivery, an open
# episode, a report that holds script.
ADDRESSES = {
    "overview": "/",
    "field": "/field/XLKS",
    "field in m/s": "/field/XLKS?units=m%2Fs&for=X-LARK%2Fdual",
    "stale field": f"/field/{STALE}",
    "kiosk": "/field/XLKS/kiosk",
    "stale kiosk": f"/field/{STALE}/kiosk",
    "crowded kiosk": f"/field/{CROWD}/kiosk",
    "ramp card": "/field/XLKS/card/X-LARK",
    "ramp card of many legs": f"/field/{CROWD}/card/X-LARK",
    "stale ramp card": f"/field/{STALE}/card/X-LARK",
    "episode": f"/episodes/{EPISODE}",
    "closed episode": f"/episodes/{CLOSED}",
    "notices": "/notices",
    "notice": f"/notice/{NOTICE}",
    "about": "/about",
    "no such page": "/field/NONE",
}
STALE_CARD = replace(
    samples.RAMP_CARD,
    frame=samples.STALE_FIELD.frame,
    wind_known=False,
    todo=samples.TO_DO_UNKNOWN,
    drawing=samples.STALE_FIELD.drawing,
    subjects=samples.STALE_FIELD.subjects[:2],
    legs=samples.STALE_FIELD.legs,
    legs_note=samples.STALE_FIELD.legs_note,
    parked=samples.STALE_FIELD.parked[1],
)

REMINDERS = tuple(f"{number}: chock, tie and lock what the wind may move." for number in range(14))
CROWDED = replace(
    samples.FIELD,
    subjects=tuple(
        row._replace(key=f"{number}/{row.key}", who=f"X-AA{number} / {row.pilot_limits}")
        for number in range(4)
        for row in samples.SUBJECTS
    ),
    legs=tuple(
        leg._replace(name=f"{leg.name}, part {number}")
        for number in range(3)
        for leg in samples.LEGS
    )[:8],
)
CROWDED_CARD = replace(
    samples.RAMP_CARD,
    frame=replace(samples.FRAME, banners=(samples.FEED,)),
    legs=tuple(leg._replace(holds=leg.holds[:1]) for leg in CROWDED.legs),
    parked=samples.PARKED[0]._replace(reminders=REMINDERS),
)


class SampleSource:
    """The samples; `change` shows something else in all of them."""

    def __init__(self) -> None:
        self.number = 1
        self.headline = samples.TO_DO.headline
        self.noted: list[tuple[tuple[str, ...], str, str]] = []

    def change(self, headline: str) -> None:
        self.headline = headline
        self.number += 1

    def version(self, now: datetime) -> str:
        return f"v{self.number}"

    def page(self, asked: Asked, now: datetime) -> Any:
        found = self._values(asked)
        frame = replace(found.frame, version=self.version(now), unit=asked.unit)
        found = replace(found, frame=frame)
        if asked.page in {faces.FIELD, faces.KIOSK} and asked.id != STALE:
            found = replace(found, todo=found.todo._replace(headline=self.headline))
        return found

    def _values(self, asked: Asked) -> Any:
        if asked.id == "NONE":
            raise KeyError(asked.id)
        fields = {STALE: samples.STALE_FIELD, CROWD: CROWDED}
        cards = {STALE: STALE_CARD, CROWD: CROWDED_CARD}
        return {
            faces.OVERVIEW: samples.OVERVIEW,
            faces.FIELD: fields.get(asked.id, samples.FIELD),
            faces.KIOSK: fields.get(asked.id, samples.FIELD),
            faces.CARD: cards.get(asked.id, samples.RAMP_CARD),
            faces.EPISODE: samples.CLOSED_EPISODE if asked.id == CLOSED else samples.EPISODE,
            faces.NOTICES: samples.NOTICES_PAGE,
            faces.NOTICE: samples.NOTICE,
            faces.ABOUT: samples.ABOUT,
        }[asked.page]

    def as_json(self, values: Any) -> dict[str, Any]:
        return {}

    def openapi(self) -> dict[str, Any]:
        return {}

    def sole_field(self) -> str:
        return ""

    def acknowledge(self, episodes: tuple[str, ...], by: str, note: str, now: datetime) -> None:
        self.noted.append((episodes, by, note))

    def contact_of(self, notice: str) -> str | None:
        return None

    def link(self, notice: str, contact: str, now: datetime) -> LinkShown:
        raise KeyError(notice)

    def take_note(self, notice: str, contact: str, now: datetime) -> LinkShown:
        raise KeyError(notice)


class ServedSamples:
    """A running server and what it shows."""

    def __init__(self, source: SampleSource, server: Server, board: Board) -> None:
        self.source = source
        self.server = server
        self.board = board

    def url(self, path: str) -> str:
        return f"{self.server.url}{path}"


@contextmanager
def samples_served(values: BoardValues | None = None) -> Iterator[ServedSamples]:
    """The samples behind a real server on loopback."""
    source = SampleSource()
    board = Board(values or BoardValues(), source, HtmlPages(), SystemClock())
    with Server(board, "127.0.0.1", 0) as server:
        yield ServedSamples(source, server, board)
