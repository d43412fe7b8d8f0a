"""What the options of ``config new`` say, as one frozen value."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Given:
    """Every option of ``config new``; None or empty: not given, so it is asked for.

    Attributes
    ----------
    yes : bool
        No questions: what is offered is taken.
    offline : bool
        The feed is not asked for stations.
    test : bool or None
        Whether a test notice is sent; None: asked.
    """

    airfield: str | None = None
    name: str | None = None
    position: str | None = None
    elevation: str | None = None
    runways: str | None = None
    time_zone: str | None = None
    station: str | None = None
    fall_back: tuple[str, ...] | None = None
    hours: str | None = None
    aircraft: tuple[str, ...] = ()
    pilot: tuple[str, ...] = ()
    contact: tuple[str, ...] = ()
    email: str | None = None
    webhook: str | None = None
    folder: str | None = None
    mail_server: str | None = None
    feed: str = "awc"
    feed_contact: str | None = None
    feed_url: str | None = None
    feed_network: tuple[str, ...] = ()
    feed_file: tuple[str, ...] = ()
    feed_mapping: str | None = None
    feed_every: str | None = None
    table: Path | None = None
    yes: bool = False
    offline: bool = False
    test: bool | None = None
