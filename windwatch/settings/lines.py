"""Which line of a TOML text a key stands on.

`tomllib` gives positions for syntax errors only, so this walks a text that `tomllib` has already
accepted and notes the line of every key, item and table header. It checks nothing.
"""

from __future__ import annotations

import re
from typing import Final

Loc = tuple[str | int, ...]

_QUOTES: Final = ('"""', "'''", '"', "'")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE: Final = re.compile(r"[^,\]}#\n]+")
_BLANK: Final = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_ESCAPE: Final = re.compile(r"\\(U[0-9A-Fa-f]{8}|u[0-9A-Fa-f]{4}|.)", re.DOTALL)
_ESCAPED: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def lines_of(text: str) -> dict[Loc, int]:
    """Return the line, counted from 1, of every key path in a valid TOML text."""
    walk = _Walk(text.replace("\r\n", "\n"))
    try:
        walk.document()
    except (IndexError, ValueError, RecursionError):
        # Only a text that tomllib refuses comes here; what was found so far still helps.
        return walk.lines
    return walk.lines


def line_of(lines: dict[Loc, int], loc: Loc) -> int | None:
    """Return the line of `loc`, or of its nearest parent that stands in the text."""
    for length in range(len(loc), 0, -1):
        if loc[:length] in lines:
            return lines[loc[:length]]
    return None


class _Walk:
    """One pass over a text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Loc, int] = {}
        self._counted_to = 0
        self._line = 1
        self._tables: dict[Loc, int] = {}

    def document(self) -> None:
        here: Loc = ()
        self._blank()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                here = self._header()
            else:
                self._assignment(here)
            self._blank()

    def _blank(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _now(self) -> int:
        """The line where the walk stands (it only ever walks forward)."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        return self._line

    def _note(self, loc: Loc, line: int) -> None:
        self.lines.setdefault(loc, line)

    def _header(self) -> Loc:
        """Read ``[a.b]`` or ``[[a.b]]`` and return the place that it opens."""
        line = self._now()
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        parts = self._key()
        self.at = self.text.index("]", self.at) + (2 if many else 1)
        loc: Loc = ()
        for part in parts[:-1]:
            loc = self._inside((*loc, part), line)
        loc = (*loc, parts[-1])
        self._note(loc, line)
        if not many:
            return self._inside(loc, line)
        self._tables[loc] = self._tables.get(loc, -1) + 1
        loc = (*loc, self._tables[loc])
        self._note(loc, line)
        return loc

    def _inside(self, loc: Loc, line: int) -> Loc:
        """Return `loc`, or its newest item where it is an array of tables."""
        self._note(loc, line)
        return (*loc, self._tables[loc]) if loc in self._tables else loc

    def _assignment(self, here: Loc) -> None:
        line = self._now()
        for part in self._key():
            here = (*here, part)
            self._note(here, line)
        self.at = self.text.index("=", self.at) + 1
        self._value(here)

    def _key(self) -> list[str]:
        """Read a dotted key."""
        parts: list[str] = []
        while True:
            self._blank()
            if self.text[self.at] in "\"'":
                parts.append(self._string())
            else:
                match = _BARE_KEY.match(self.text, self.at)
                if match is None:
                    raise ValueError("no key here")
                parts.append(match.group())
                self.at = match.end()
            self._blank()
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _value(self, loc: Loc) -> None:
        self._blank()
        self._note(loc, self._now())
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self._items(loc)
        elif first == "{":
            self._inline(loc)
        else:
            match = _BARE_VALUE.match(self.text, self.at)
            if match is None:
                raise ValueError("no value here")
            self.at = match.end()

    def _items(self, loc: Loc) -> None:
        self.at += 1
        number = 0
        while True:
            self._blank()
            if self.text[self.at] == "]":
                self.at += 1
                return
            self._value((*loc, number))
            number += 1
            self._blank()
            if self.text[self.at] == ",":
                self.at += 1

    def _inline(self, loc: Loc) -> None:
        self.at += 1
        while True:
            self._blank()
            if self.text[self.at] == "}":
                self.at += 1
                return
            self._assignment(loc)
            self._blank()
            if self.text[self.at] == ",":
                self.at += 1

    def _string(self) -> str:
        """Read a string of any of the four kinds and return what it says."""
        quote = next(q for q in _QUOTES if self.text.startswith(q, self.at))
        start = self.at + len(quote)
        end = start
        while not self.text.startswith(quote, end):
            if end >= len(self.text):
                raise ValueError("a string without end")
            end += 2 if quote[0] == '"' and self.text[end] == "\\" else 1
        # One or two quotes may stand right before the closing three.
        while len(quote) == 3 and self.text.startswith(quote, end + 1):
            end += 1
        self.at = end + len(quote)
        said = self.text[start:end]
        return _ESCAPE.sub(_escaped, said) if quote[0] == '"' else said


def _escaped(match: re.Match[str]) -> str:
    """Return the character that an escape stands for."""
    code = match.group(1)
    if code[0] in "uU" and len(code) > 1:
        return chr(int(code[1:], 16))
    return _ESCAPED.get(code, code)
