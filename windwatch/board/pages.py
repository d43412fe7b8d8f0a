"""Pages for people: values in templates, with the words of `windwatch.board.words`.

Nothing here judges: whatever a page says of wind and limits, its values say.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, Final
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined

from windwatch.board import faces, files, pictures, words
from windwatch.board.faces import CSRF_HERE, Asked, LinkShown, Reader, Static
from windwatch.board.page_values import LimitLine
from windwatch.board.shown_first import (
    after_colon,
    aircraft_of,
    answers_of,
    chosen_first,
    kinds_differ,
    kinds_on,
    short_of,
    some_stopped,
    stopped,
    worst_first,
)

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
# So many drawings fit on one sheet in a size that can be read; beyond them words alone.
MOST_DRAWN_ON_CARD: Final = 8
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
        "kinds_on": kinds_on,
        "kinds_differ": kinds_differ,
        "some_stopped": some_stopped,
        "stopped": stopped,
        "answers_of": answers_of,
        "after_colon": after_colon,
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


# --- the ramp card -----------------------------------------------------------------------


def by_use(limits: tuple[LimitLine, ...]) -> list[tuple[str, list[LimitLine]]]:
    """Limits under what they apply to, in configured order."""
    found: dict[str, list[LimitLine]] = {}
    for line in limits:
        found.setdefault(line.applies_to, []).append(line)
    return list(found.items())
