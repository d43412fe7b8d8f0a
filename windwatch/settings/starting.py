"""What somebody who starts has answered, as plain frozen values; `starting_text` writes them down.

Every answer has been read by `starting_read`, which refuses rubbish with a mend.
"""

from __future__ import annotations

from dataclasses import dataclass, field

Limits = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class EndAnswer:
    """One end of a runway.

    Attributes
    ----------
    heading_deg : float or None
        Of somebody landing on it; None: its number alone tells it. [°]
    magnetic : bool
        That heading is by the compass, else degrees true.
    """

    name: str
    heading_deg: float | None = None
    magnetic: bool = False


@dataclass(frozen=True, slots=True)
class StationAnswer:
    """Who reports, and how it stands to the airfield; None where nobody knows.

    Attributes
    ----------
    distance_nm : float or None
        [NM]
    bearing_true_deg : float or None
        From the airfield to it. [°T]
    elevation_ft : float or None
        [ft]
    """

    id: str
    distance_nm: float | None = None
    bearing_true_deg: float | None = None
    elevation_ft: float | None = None


@dataclass(frozen=True, slots=True)
class AirfieldAnswer:
    """The airfield.

    Attributes
    ----------
    runway_lines : tuple of str
        The text of its runways, from the table or typed.
    station_known : bool
        The station was named by the user, or has been seen to report.
    remark : str
        Where its figures come from; '' where somebody typed them.
    hours : tuple of two str, or None
        Local opening and closing; None: always.
    table_runways : tuple of str
        Names of the runways that the table has, where its figures were taken.
    doubts : tuple of str
        What is doubtful about these figures, a sentence each, without its full stop.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_ft: float
    time_zone: str
    station: StationAnswer
    runway_lines: tuple[str, ...]
    fall_backs: tuple[StationAnswer, ...] = ()
    hours: tuple[str, str] | None = None
    remark: str = ""
    station_known: bool = True
    table_runways: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AircraftAnswer:
    """An aircraft; its limits by their keys, in knots.

    Attributes
    ----------
    starters : frozenset of str
        Keys of limits that nobody gave: common practice, to be confirmed.
    flown_by : tuple of str
        Pilot standards; empty: all that there are.
    """

    name: str
    gear: str
    wing: str
    limits: Limits = ()
    demonstrated_crosswind_kt: float | None = None
    stall_speed_kt: float | None = None
    flown_by: tuple[str, ...] = ()
    starters: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class PilotAnswer:
    """A standard of pilot, and its limits."""

    name: str
    limits: Limits = ()
    starters: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class ContactAnswer:
    """Somebody to tell, by at least one way.

    Attributes
    ----------
    hears : str
        A key of `HEARS`.
    aircraft : tuple of str
        Those alone; empty: all.
    """

    name: str
    email: str = ""
    webhook: str = ""
    folder: str = ""
    hears: str = "usual"
    aircraft: tuple[str, ...] = ()
    operator: bool = False


@dataclass(frozen=True, slots=True)
class MailAnswer:
    """The mail server."""

    host: str
    sender: str
    port: int | None = None
    security: str = "starttls"
    username: str = ""


@dataclass(frozen=True, slots=True)
class FeedAnswer:
    """Where reports come from.

    Attributes
    ----------
    mapping : tuple of pairs
        Keys of ``[feed.mapping]`` and their values (``json`` only).
    """

    kind: str = "awc"
    contact: str = ""
    every: str = ""
    url: str = ""
    allow_networks: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    mapping: tuple[tuple[str, str | float], ...] = ()


@dataclass(frozen=True, slots=True)
class Answers:
    """Everything that was answered.

    Attributes
    ----------
    mail_folder : str
        Where mails are left as files while there is no mail server; '' where there is one.
    schema_url : str
        What the ``#:schema`` line for editors names.
    """

    feed: FeedAnswer
    airfield: AirfieldAnswer
    aircraft: tuple[AircraftAnswer, ...] = ()
    pilots: tuple[PilotAnswer, ...] = ()
    contacts: tuple[ContactAnswer, ...] = field(default_factory=tuple)
    mail: MailAnswer | None = None
    mail_folder: str = ""
    schema_url: str = ""
