"""Pages for people: values in templates, with the words of `windwatch.board.words`.

Nothing here judges: whatever a page says of wind and limits, its values say.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, Final, NamedTuple
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined

from windwatch.board import faces, files, pictures, words
from windwatch.board.faces import CSRF_HERE, Asked, LinkShown, Reader, Static
from windwatch.board.page_values import LimitLine
from windwatch.board.values import HoldCard, LegCard, SubjectRow

UNITS: Final = ("kt", "m/s", "km/h", "mph")
TEMPLATES: Final = {
    faces.OVERVIEW: "overview.html",
    faces.FIELD: "field.html",
    faces.KIOSK: "kiosk.html",
    faces.CARD: "card.html",
    faces.EPISODE: "episode.html",
    faces.NOTICES: "notices.html",
    faces.NOTICE: "notice.html",
    faces.ABOUT: "about.html",
}
# More than that cannot be read from across the room; the worst come first, the rest is counted.
MOST_ON_WALL: Final = 12
MOST_PICTURED_ON_WALL: Final = 4
# Three drawings fit on one sheet in a size that can be read; beyond them words alone.
MOST_DRAWN_ON_CARD: Final = 3
_GRAVITY: Final = {"over": 0, "unknown": 1, "near": 2, "within": 3}
_DAYS_FROM: Final = timedelta(hours=48)


class HtmlPages:
    """Makes HTML; fulfils `windwatch.board.faces.Pages`."""

    def html(self, asked: Asked, values: Any, reader: Reader) -> str:
        """One page of values."""
        return _render(
            TEMPLATES[asked.page], page=values, frame=values.frame, asked=asked, reader=reader
        )

    def login(self, reader: Reader, problem: str) -> str:
        """The form to log in."""
        return _render("login.html", reader=reader, problem=problem)

    def link(self, shown: LinkShown) -> str:
        """The page of a signed link."""
        return _render("link.html", shown=shown)

    def problem(self, status: int, headline: str, words: str) -> str:
        """What went wrong."""
        return _render("problem.html", status=status, headline=headline, words=words)

    def static(self, name: str) -> Static | None:
        """The stylesheet or the script; None for any other name."""
        return files.shipped().get(name)


def _render(template: str, **values: Any) -> str:
    return _environment().get_template(template).render(values)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("windwatch.board"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals |= _told()
    environment.filters |= {"iso": iso, "age": age, "span": span}
    return environment


def _told() -> Mapping[str, Any]:
    """What every template may call."""
    return {
        "say": words,
        "draw": pictures,
        "units": UNITS,
        "csrf": CSRF_HERE,
        "stylesheet": files.address("css"),
        "script": files.address("js"),
        "address": address,
        "chosen": chosen,
        "in_unit": in_unit,
        "worst_first": worst_first,
        "most_on_wall": MOST_ON_WALL,
        "chosen_first": chosen_first,
        "aircraft_of": aircraft_of,
        "said_once": said_once,
        "short_of": short_of,
        "by_use": by_use,
        "most_pictured_on_wall": MOST_PICTURED_ON_WALL,
        "most_drawn_on_card": MOST_DRAWN_ON_CARD,
    }


# --- times ---------------------------------------------------------------------------


def iso(moment: datetime) -> str:
    """For ``datetime`` and ``data-`` attributes: ``2026-09-22T19:07:00Z``."""
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def span(length: timedelta) -> str:
    """A length of time in words, whole minutes: ``5 min``, ``2 h 10 min``, ``3 days``.

    Examples
    --------
    >>> span(timedelta(minutes=130))
    '2 h 10 min'
    """
    minutes = max(0, int(length.total_seconds() // 60))
    if length >= _DAYS_FROM:
        return f"{minutes // 1440} days"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min"


def age(moment: datetime, now: datetime) -> str:
    """How long ago, or how soon; the script counts on in the same words."""
    if moment > now:
        return f"{words.IN} {span(moment - now)}"
    return f"{span(now - moment)} {words.AGO}"


# --- addresses -------------------------------------------------------------------------


def address(*parts: str) -> str:
    """A path within the board, whatever the names in it hold."""
    return "/" + "/".join(quote(part, safe="") for part in parts)


def chosen(airfield: str, subject: str) -> str:
    """The board of an airfield for one aircraft and pilot standard."""
    return f"{address('field', airfield)}?{urlencode({'for': subject})}"


def in_unit(path: str, unit: str) -> str:
    """The same page in another unit."""
    where = urlsplit(path)
    query = [(key, value) for key, value in parse_qsl(where.query) if key != "units"]
    return f"?{urlencode([*query, ('units', unit)])}"


# --- what is left out where room is short ---------------------------------------------------


def worst_first(subjects: tuple[SubjectRow, ...]) -> list[SubjectRow]:
    """Over, unknown, near, within; the configured order within each."""
    return sorted(subjects, key=lambda row: _GRAVITY[row.stand.mark.value])


def chosen_first(subjects: tuple[SubjectRow, ...], key: str) -> list[SubjectRow]:
    """Whom the reader chose, then the others as configured."""
    return sorted(subjects, key=lambda row: row.key != key)


def aircraft_of(subjects: tuple[SubjectRow, ...], key: str) -> str:
    """The aircraft of whom the reader chose; '' for all."""
    return next((row.aircraft for row in subjects if row.key == key), "")


class Held(NamedTuple):
    """How one or several kinds of aeroplane are held on a leg, in the same words."""

    words: str
    aircraft: tuple[str, ...]
    critical: bool
    hold: HoldCard


def said_once(leg: LegCard, aircraft: str = "") -> list[Held]:
    """What is held on a leg, each once, with all whom it is for; for one aircraft alone if named.

    The drawing is that of the first.
    """
    found: dict[str, Held] = {}
    for hold in leg.holds:
        if aircraft and aircraft not in hold.aircraft:
            continue
        so_far = found.get(hold.held, Held(hold.held, (), hold.most_critical, hold))
        whom = (*so_far.aircraft, *([aircraft] if aircraft else hold.aircraft))
        critical = so_far.critical or hold.most_critical
        found[hold.held] = so_far._replace(aircraft=whom, critical=critical)
    return list(found.values())


def short_of(row: SubjectRow) -> tuple[str, str]:
    """Which runway remains, in a few words; and the figures behind it, which may be left out.

    Without a runway that remains, the row's own words begin with that and go on with figures.
    """
    if row.stand.last_known is None and row.remaining and row.ends and row.ends[0].deciding:
        best, deciding = row.ends[0], row.ends[0].deciding
        return row.remains, f"{best.end} {deciding.name} {deciding.words}"
    short, _, figures = (row.remains, "", "") if row.remaining else row.remains.partition(": ")
    return short[:1].upper() + short[1:], figures


def by_use(limits: tuple[LimitLine, ...]) -> list[tuple[str, list[LimitLine]]]:
    """Limits under what they apply to, in configured order."""
    found: dict[str, list[LimitLine]] = {}
    for line in limits:
        found.setdefault(line.applies_to, []).append(line)
    return list(found.items())
