"""What the routes need of the rest of the board: where values come from, and what shows them.

`windwatch.board.app` knows no page and no store: it asks a `Source` for the values of what was
asked, and hands them to `Pages` (for people) or to the source's own JSON (for machines).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NamedTuple, Protocol

# Pages, by name. Each has an address for people and one below /api with the same values.
OVERVIEW: Final = "overview"  # /
FIELD: Final = "field"  # /field/{id}
KIOSK: Final = "kiosk"  # /field/{id}/kiosk
CARD: Final = "card"  # /field/{id}/card/{aircraft}
EPISODE: Final = "episode"  # /episodes/{id}
NOTICES: Final = "notices"  # /notices
NOTICE: Final = "notice"  # /notice/{id}
ABOUT: Final = "about"  # /about

# Stands in a page wherever a form needs the reader's token: pages are kept and shared, tokens are
# not. The routes put each reader's own in its place; it holds nothing that HTML would escape.
CSRF_HERE: Final = "windwatch-form-token-here"


@dataclass(frozen=True, slots=True)
class Asked:
    """One page, as somebody asked for it.

    Attributes
    ----------
    page : str
        One of the names above.
    id : str
        Airfield, episode or notice; '' where the page needs none.
    aircraft : str
        For the ramp card.
    unit : str
        ``kt``, ``m/s``, ``km/h``, ``mph``.
    subject : str
        Key of the aircraft and pilot standard chosen by ``?for=``; '' for none.
    """

    page: str
    id: str = ""
    aircraft: str = ""
    unit: str = "kt"
    subject: str = ""


@dataclass(frozen=True, slots=True)
class Reader:
    """Who looks, as far as the page needs to know.

    Attributes
    ----------
    name : str
        For the record of what they take note of; '' where not known yet.
    may_acknowledge : bool
        Forms are shown.
    logged_in : bool
        They can log out.
    login_offered : bool
        They may look, and could log in to do more.
    path : str
        Where they are, with the query: forms come back to it.
    done : str
        What they have just done, in a sentence to be shown above the page; '' for nothing.
    """

    name: str = ""
    may_acknowledge: bool = False
    logged_in: bool = False
    login_offered: bool = False
    path: str = "/"
    done: str = ""


class LinkShown(NamedTuple):
    """A signed link out of a notice, opened: nothing has happened by that alone.

    Attributes
    ----------
    valid : bool
        False: forged, mistyped or too old; only `words` is to be shown, and no form.
    words : str
        What pressing the button does, or why there is none, or what has been done.
    button : bool
        There is something to take note of: a form that posts to `action` with the one hidden
        field ``form`` = `form`.
    contact : str
        In whose name.
    subject : str
        Of the notice.
    episodes : tuple of str
        Each in words, with how it stands now.
    """

    valid: bool
    words: str
    button: bool = False
    action: str = ""
    form: str = ""
    contact: str = ""
    subject: str = ""
    episodes: tuple[str, ...] = ()


class Static(NamedTuple):
    """A file that pages name: its bytes and its kind."""

    content: bytes
    media_type: str


class Source(Protocol):
    """Where the values of pages come from; called from threads, several at once."""

    def version(self, now: datetime) -> str:
        """Different as soon as any page may look different."""
        ...

    def page(self, asked: Asked, now: datetime) -> Any:
        """The values of a page.

        Raises
        ------
        KeyError
            If there is no such airfield, aircraft, episode or notice.
        StoreError
            If the store cannot be read.
        """
        ...

    def as_json(self, values: Any) -> Mapping[str, Any]:
        """The same values for machines."""
        ...

    def openapi(self) -> Mapping[str, Any]:
        """What the addresses below /api give."""
        ...

    def sole_field(self) -> str:
        """The airfield, where only one is watched; '' where there are several."""
        ...

    def acknowledge(self, episodes: tuple[str, ...], by: str, note: str, now: datetime) -> None:
        """Write that somebody took note of episodes.

        Raises
        ------
        KeyError
            If there is none of such an id; then nothing is written.
        StoreError
            If it cannot be written.
        """
        ...

    def contact_of(self, notice: str) -> str | None:
        """To whom a notice went; None where there is none of that id."""
        ...

    def link(self, notice: str, contact: str, now: datetime) -> LinkShown:
        """What a signed link to a notice is about; without `action` and `form`."""
        ...

    def take_note(self, notice: str, contact: str, now: datetime) -> LinkShown:
        """Take note, in a contact's name, of every open episode of a notice; once is enough."""
        ...


class Pages(Protocol):
    """What makes HTML of values; called from threads, several at once.

    Every form holds ``<input type="hidden" name="csrf" value="windwatch-form-token-here">``
    (`CSRF_HERE`), but for the one of a link.
    """

    def html(self, asked: Asked, values: Any, reader: Reader) -> str:
        """One page.

        Forms post to ``/episodes/{id}/acknowledge`` (fields ``csrf``, ``by``, ``note``, ``back``:
        where to return to), ``/logout`` (``csrf``).
        """
        ...

    def login(self, reader: Reader, problem: str) -> str:
        """The form to log in: posts ``csrf``, ``password``, ``by``, ``back`` to ``/login``.

        Parameters
        ----------
        reader : Reader
            With `path`: where to go afterwards.
        problem : str
            Why the last try did not do; '' at first.
        """
        ...

    def link(self, shown: LinkShown) -> str:
        """The page of a signed link; for somebody who is not logged in: no navigation."""
        ...

    def problem(self, status: int, headline: str, words: str) -> str:
        """A page for what went wrong: no such page, not allowed, the store cannot be read."""
        ...

    def static(self, name: str) -> Static | None:
        """A file by the name that pages give it, with its content's hash in it; None: no such."""
        ...
