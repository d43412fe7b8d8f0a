"""A source and pages that hold next to nothing, and a real server around them."""

from __future__ import annotations

import http.client
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from html import escape
from http.cookies import SimpleCookie
from typing import Any
from urllib.parse import urlencode

from windwatch.board.app import Board
from windwatch.board.faces import CSRF_HERE, Asked, LinkShown, Reader, Static
from windwatch.board.server import Server
from windwatch.clock import SystemClock
from windwatch.errors import StoreError
from windwatch.settings.running import BoardValues

NOTICE = "3fa9c1d2" * 3
EPISODE = "e" * 24


@dataclass
class FakeSource:
    """Values are what was asked; changes are counted."""

    number: int = 1
    looks: int = 0
    made: list[Asked] = field(default_factory=list)
    noted: list[tuple[tuple[str, ...], str, str]] = field(default_factory=list)
    sole: str = ""
    broken: bool = False

    def version(self, now: datetime) -> str:
        self.looks += 1
        if self.broken:
            raise StoreError("the store is gone")
        return str(self.number)

    def page(self, asked: Asked, now: datetime) -> Any:
        self.made.append(asked)
        if asked.id in {"NONE", "none"}:
            raise KeyError(asked.id)
        if asked.id == "BUG":
            raise ZeroDivisionError("https://secret.example/key")
        return asked

    def as_json(self, values: Any) -> dict[str, Any]:
        return {"page": values.page, "id": values.id, "unit": values.unit, "number": self.number}

    def openapi(self) -> dict[str, Any]:
        return {"openapi": "3.1.0"}

    def sole_field(self) -> str:
        return self.sole

    def acknowledge(self, episodes: tuple[str, ...], by: str, note: str, now: datetime) -> None:
        if "none" in episodes:
            raise KeyError("none")
        self.noted.append((episodes, by, note))

    def contact_of(self, notice: str) -> str | None:
        return {NOTICE: "owner"}.get(notice)

    def link(self, notice: str, contact: str, now: datetime) -> LinkShown:
        return LinkShown(
            valid=True, words="Press.", button=not self.noted, contact=contact, subject=notice
        )

    def take_note(self, notice: str, contact: str, now: datetime) -> LinkShown:
        if not self.noted:
            self.noted.append(((EPISODE,), contact, ""))
        return self.link(notice, contact, now)


class FakePages:
    """As little HTML as shows what was handed in."""

    def html(self, asked: Asked, values: Any, reader: Reader) -> str:
        form = (
            f'<form method="post"><input name="csrf" value="{CSRF_HERE}"></form>'
            if reader.may_acknowledge or reader.logged_in
            else ""
        )
        return f"<main>{escape(repr(values))} {escape(repr(reader))}</main>{form}"

    def login(self, reader: Reader, problem: str) -> str:
        return f'<p>{escape(problem)}</p><input name="csrf" value="{CSRF_HERE}">{reader.path}'

    def link(self, shown: LinkShown) -> str:
        return f'{escape(repr(shown))}<input name="form" value="{shown.form}">'

    def problem(self, status: int, headline: str, words: str) -> str:
        return f"<h1>{status} {headline}</h1>{words}"

    def static(self, name: str) -> Static | None:
        return Static(b"body{}", "text/css") if name == "board.0123.css" else None


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: str
    cookies: dict[str, Any]


@dataclass
class Browser:
    """A connection a request, and the cookies that were set; no redirect is followed."""

    port: int
    host: str = "127.0.0.1"
    cookies: dict[str, str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: bytes | None = None, **more: str) -> Answer:
        headers = {"Host": f"{self.host}:{self.port}", **self.headers}
        headers |= {name.replace("_", "-"): value for name, value in more.items()}
        if self.cookies:
            headers["Cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request(method, path, body, headers)
            response = connection.getresponse()
            found = SimpleCookie()
            for line in response.headers.get_all("set-cookie", ()):
                found.load(line)
            for name, morsel in found.items():
                if morsel.value:
                    self.cookies[name] = morsel.coded_value
                else:
                    self.cookies.pop(name, None)
            text = response.read().decode()
            names = {name.lower(): value for name, value in response.getheaders()}
            return Answer(response.status, names, text, dict(found))
        finally:
            connection.close()

    def get(self, path: str, **more: str) -> Answer:
        return self.ask("GET", path, **more)

    def post(self, path: str, fields: dict[str, str], **more: str) -> Answer:
        kind = {"Content_Type": "application/x-www-form-urlencoded"}
        return self.ask("POST", path, urlencode(fields).encode(), **kind | more)

    def form(self, path: str, name: str = "csrf") -> str:
        """What a form on a page holds in its hidden field."""
        page = self.get(path).body
        return page.partition(f'name="{name}" value="')[2].partition('"')[0]

    def log_in(self, password: str, by: str = "", **more: str) -> Answer:
        token = self.form("/login")
        return self.post("/login", {"csrf": token, "password": password, "by": by}, **more)


@dataclass
class Served:
    source: FakeSource
    server: Server
    board: Board

    def as_new(self) -> Served:
        """Nothing is noted, nobody has asked: the server itself takes a while to begin and end."""
        self.source.noted.clear()
        self.source.made.clear()
        deeds = self.board._deeds
        for allowance in (self.board._looks, self.board._acts, deeds._guesses, deeds._all_guesses):
            allowance._left.clear()
        self.board._shelf._kept.clear()
        return self

    def browser(self, **more: Any) -> Browser:
        return Browser(self.server.port, **more)


@contextmanager
def served(values: BoardValues | None = None, source: FakeSource | None = None) -> Iterator[Served]:
    """The fakes behind a real server on loopback."""
    source = source or FakeSource()
    values = values or BoardValues()
    board = Board(values, source, FakePages(), SystemClock())
    with Server(board, "127.0.0.1", 0) as server:
        yield Served(source, server, board)
    assert not server.runs
