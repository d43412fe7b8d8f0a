"""The routes of the board: who may ask what, and which values and page answer it.

It knows no page and no store: see `windwatch.board.faces`. To look changes nothing, whatever is
asked; what changes something (`windwatch.board.deeds`) is sent by a form.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final
from urllib.parse import quote, urlencode

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from windwatch.board import faces
from windwatch.board.access import Access, Refused, Visitor
from windwatch.board.answers import JSON, UNITS, UNITS_COOKIE, Answers
from windwatch.board.deeds import Deeds, Handler
from windwatch.board.faces import Asked, Pages, Reader, Source
from windwatch.board.headers import FOR_EVER, Headers
from windwatch.board.limits import DEEDS, LOOKS, MOST_HEAD, MOST_TARGET, Allowance
from windwatch.board.live import Live
from windwatch.board.shelf import Shelf
from windwatch.clock import Clock
from windwatch.errors import StoreError
from windwatch.settings.running import BoardValues

log = logging.getLogger(__name__)

# Pages by where they stand; below /api, in JSON, too.
PAGES: Final = {
    "/": faces.OVERVIEW,
    "/field/{id}": faces.FIELD,
    "/field/{id}/kiosk": faces.KIOSK,
    "/field/{id}/card/{aircraft}": faces.CARD,
    "/episodes/{id}": faces.EPISODE,
    "/notices": faces.NOTICES,
    "/notice/{id}": faces.NOTICE,
    "/about": faces.ABOUT,
}
NO_SUCH: Final = "There is no such page, airfield, aircraft, episode or notice here."
UNREADABLE: Final = (
    "The store cannot be read or written: nothing is known, which is not calm. The log says why."
)
NOTED: Final = (
    "Noted. Its reminders stop for a while; a new worst, missing data and the end are told all "
    "the same."
)


class Board:
    """The application, and what it remembers while it runs.

    Parameters
    ----------
    values : BoardValues
    source : Source
    pages : Pages
    clock : Clock
    """

    def __init__(self, values: BoardValues, source: Source, pages: Pages, clock: Clock) -> None:
        self._source = source
        self._pages = pages
        self._clock = clock
        self._access = Access(values)
        self._answers = Answers(self._access, pages, clock)
        # Few: making pages must not crowd out the watch in the same process.
        self._workers = ThreadPoolExecutor(2, "board")
        self._shelf = Shelf(clock.monotonic)
        self._looks, self._acts = Allowance(LOOKS), Allowance(DEEDS)
        self._deeds = Deeds(self._access, source, pages, self._answers, clock, self._in_thread)
        self.live = Live(self._look, clock.monotonic)
        looks: dict[str, Handler] = {
            "/api/openapi.json": self._openapi,
            "/live/{id}": self._stream,
            "/static/{name}": self._static,
            "/healthz": self._healthz,
        }
        for page, name in PAGES.items():
            looks[page] = self._page_of(name)
            looks["/api" + page.rstrip("/")] = self._values_of(name)
        routes = [
            *(Route(at, self._guarded(each), methods=["GET"]) for at, each in looks.items()),
            *self._deeds.routes(self._guarded),
        ]
        starlette = Starlette(routes=routes, exception_handlers={Exception: self._failed})
        starlette.add_exception_handler(HTTPException, self._no_route)
        self.app: ASGIApp = Headers(starlette)

    def close(self) -> None:
        """End every live view; for the thread of the loop."""
        self.live.close()
        self._deeds.close()
        self._workers.shutdown(wait=False, cancel_futures=True)

    # --- the door ----------------------------------------------------------------

    def _guarded(self, handler: Handler) -> Callable[[Request], Awaitable[Response]]:
        async def guarded(request: Request) -> Response:
            try:
                return await handler(request, self._admit(request))
            except Refused as refused:
                return self._answers.refusal(request, refused)
            except KeyError:
                return self._answers.refusal(request, Refused(404, "Not here", NO_SUCH))
            except StoreError as error:
                log.error("board_store_failed", extra={"problem": str(error)})  # noqa: TRY400 - said in words
                return self._answers.refusal(
                    request, Refused(503, "Nothing is known", UNREADABLE, 30)
                )

        return guarded

    def _admit(self, request: Request) -> Visitor:
        if len(request.url.path) + len(request.url.query) > MOST_TARGET:
            raise Refused(414, "Too long", "That address is too long.")
        if sum(len(name) + len(value) for name, value in request.headers.raw) > MOST_HEAD:
            raise Refused(431, "Too much", "The head of that request is too long.")
        peer = request.client.host if request.client is not None else ""
        visitor = self._access.visitor(peer, request.headers, request.cookies, self._clock.now())
        acts = request.method == "POST"
        allowance = self._acts if acts else self._looks
        if not allowance.take(visitor.address, self._clock.monotonic()):
            raise Refused(429, "Too much at once", "Wait a little, then try again.", 5)
        if acts:
            self._access.judge_origin(request.headers)
        return visitor

    async def _no_route(self, request: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException) and error.status_code == 405:
            refused = Refused(405, "Not that way", "That cannot be done with this address.")
        else:
            refused = Refused(404, "Not here", NO_SUCH)
        return self._answers.refusal(request, refused)

    async def _failed(self, request: Request, error: Exception) -> Response:
        # Not the address: it may hold a signed link.
        log.error("board_failed", exc_info=error)
        words = "Something is wrong with the board; the log says what."
        return self._answers.refusal(request, Refused(500, "That failed", words))

    # --- looking -------------------------------------------------------------------

    async def _look(self) -> str:
        found: str = await self._in_thread(lambda: self._source.version(self._clock.now()))
        return found

    async def _in_thread(self, work: Callable[[], Any]) -> Any:
        return await asyncio.get_running_loop().run_in_executor(self._workers, work)

    def _asked(self, request: Request, name: str) -> Asked:
        chosen = request.query_params.get("units") or request.cookies.get(UNITS_COOKIE, "")
        return Asked(
            name,
            request.path_params.get("id", ""),
            request.path_params.get("aircraft", ""),
            chosen if chosen in UNITS else UNITS[0],
            request.query_params.get("for", "")[:200],
        )

    def _page_of(self, name: str) -> Handler:
        async def page(request: Request, visitor: Visitor) -> Response:
            if not visitor.role.may_look:
                return _to_login(request)
            if name == faces.OVERVIEW and (only := await self._in_thread(self._source.sole_field)):
                return RedirectResponse(_with_query(f"/field/{quote(only)}", request), 303)
            asked = self._asked(request, name)
            reader = self._reader(request, visitor)

            def make() -> bytes:
                values = self._source.page(asked, self._clock.now())
                return self._pages.html(asked, values, reader).encode()

            html = await self._made(("html", asked, reader), make)
            return self._answers.page(html, request, visitor)

        return page

    def _values_of(self, name: str) -> Handler:
        async def values(request: Request, visitor: Visitor) -> Response:
            _must_look(visitor)
            asked = self._asked(request, name)

            def make() -> bytes:
                found = self._source.page(asked, self._clock.now())
                return _json(self._source.as_json(found))

            return Response(await self._made(("json", asked), make), media_type=JSON)

        return values

    async def _made(self, key: object, make: Callable[[], bytes]) -> bytes:
        version = await self.live.version()
        return await self._shelf.get(key, version, lambda: self._in_thread(make))

    async def _openapi(self, request: Request, visitor: Visitor) -> Response:
        del request
        _must_look(visitor)
        return Response(_json(await self._in_thread(self._source.openapi)), media_type=JSON)

    async def _stream(self, request: Request, visitor: Visitor) -> Response:
        del request
        _must_look(visitor)
        if self.live.is_full:
            raise Refused(503, "Too many look on", "Reload the page to see what is new.", 30)
        await self.live.version()
        headers = {"cache-control": "no-store, no-transform", "x-accel-buffering": "no"}
        kind = "text/event-stream"
        return StreamingResponse(self.live.stream(), headers=headers, media_type=kind)

    async def _static(self, request: Request, visitor: Visitor) -> Response:
        del visitor
        found = self._pages.static(request.path_params["name"])
        if found is None:
            raise KeyError(request.path_params["name"])
        headers = {"cache-control": FOR_EVER}
        return Response(found.content, headers=headers, media_type=found.media_type)

    async def _healthz(self, request: Request, visitor: Visitor) -> Response:
        del request, visitor
        await self.live.version()
        return Response(_json({"board": "works"}), media_type=JSON)

    def _reader(self, request: Request, visitor: Visitor) -> Reader:
        query = [(k, v) for k, v in request.query_params.multi_items() if k != "done"]
        path = request.url.path + (f"?{urlencode(query)}" if query else "")
        done = request.query_params.get("done", "")
        return Reader(
            name=visitor.name,
            may_acknowledge=visitor.role.may_acknowledge,
            logged_in=visitor.logged_in,
            login_offered=self._access.has_password and not visitor.role.may_acknowledge,
            path=path,
            done=NOTED if done and self._access.sessions.is_token(visitor.session, done) else "",
        )


def _must_look(visitor: Visitor) -> None:
    if not visitor.role.may_look:
        raise Refused(401, "Log in first", "This board shows itself to those who log in.")


def _to_login(request: Request) -> Response:
    back = _with_query(request.url.path, request)
    return RedirectResponse(f"/login?{urlencode({'back': back})}", 303)


def _with_query(path: str, request: Request) -> str:
    return f"{path}?{request.url.query}" if request.url.query else path


def _json(values: Mapping[str, Any]) -> bytes:
    return json.dumps(values, allow_nan=False).encode()
