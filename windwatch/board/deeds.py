"""What people do on the board: log in and out, and take note of episodes, here or by a link."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final, Protocol
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from windwatch.board.access import Access, Refused, Visitor
from windwatch.board.answers import HTML, Answers, with_query
from windwatch.board.faces import LinkShown, Pages, Reader, Source
from windwatch.board.forms import one_line, own_path, read_form
from windwatch.board.limits import ALL_GUESSES, GUESSES, Allowance
from windwatch.board.links import PATH as LINK_PATH
from windwatch.board.links import Links, Opened
from windwatch.board.sessions import COOKIE, Role
from windwatch.clock import Clock

log = logging.getLogger(__name__)

_EVERYBODY: Final = "everybody"
FORGED: Final = (
    "The form was too old, or not from this page, and nothing was done. Load the page anew and "
    "send it again."
)
NO_LINK: Final = (
    "This link does not hold: it is mistyped, or older than a day. Nothing was done. A newer "
    "notice has a newer link; the board and `windwatch acknowledge` do the same."
)

Handler = Callable[[Request, Visitor], Awaitable[Response]]


class InThread(Protocol):
    """Does slow work in another thread."""

    async def __call__(self, work: Callable[[], Any]) -> Any:
        """What the work gives."""
        ...


class Deeds:
    """Does them.

    Parameters
    ----------
    access : Access
    source : Source
    pages : Pages
    answers : Answers
    clock : Clock
    in_thread : callable
    """

    def __init__(
        self,
        access: Access,
        source: Source,
        pages: Pages,
        answers: Answers,
        clock: Clock,
        in_thread: InThread,
    ) -> None:
        self._access = access
        self._source = source
        self._pages = pages
        self._answers = answers
        self._clock = clock
        self._in_thread = in_thread
        self._links = Links(access.secret)
        # One look at a password takes 16 MiB.
        self._doorkeeper = ThreadPoolExecutor(1, "board-door")
        self._guesses, self._all_guesses = Allowance(GUESSES), Allowance(ALL_GUESSES)

    def routes(self, guarded: Callable[[Handler], Any]) -> list[Route]:
        """Where each is done."""
        link = LINK_PATH + "{token}"
        return [
            Route("/login", guarded(self._show_login), methods=["GET"]),
            Route("/login", guarded(self._log_in), methods=["POST"]),
            Route("/logout", guarded(self._log_out), methods=["POST"]),
            Route("/episodes/{id}/acknowledge", guarded(self._acknowledge), methods=["POST"]),
            Route(link, guarded(self._show_link), methods=["GET"]),
            Route(link, guarded(self._use_link), methods=["POST"]),
        ]

    def close(self) -> None:
        """Give back what it has open."""
        self._doorkeeper.shutdown(wait=False, cancel_futures=True)

    # --- logging in ---------------------------------------------------------------

    async def _show_login(self, request: Request, visitor: Visitor) -> Response:
        back = own_path(request.query_params.get("back", "/"))
        return await self._login_page(request, visitor, back, "", 200)

    async def _login_page(
        self, request: Request, visitor: Visitor, back: str, problem: str, status: int
    ) -> Response:
        if not self._access.has_password:
            return RedirectResponse(back, 303)
        reader = Reader(name=visitor.name, path=back)
        html = await self._in_thread(lambda: self._pages.login(reader, problem).encode())
        return self._answers.page(html, request, visitor, status)

    async def _log_in(self, request: Request, visitor: Visitor) -> Response:
        form = await read_form(request)
        back = own_path(form.get("back", "/"))
        if not self._is_theirs(visitor, form):
            return await self._login_page(request, visitor, back, FORGED, 403)
        at_s = self._clock.monotonic()
        if not (
            self._guesses.take(visitor.address, at_s) and self._all_guesses.take(_EVERYBODY, at_s)
        ):
            raise Refused(429, "Too many tries", "Wait a minute, then try again.", 60)
        role = await asyncio.get_running_loop().run_in_executor(
            self._doorkeeper, self._access.role_of, form.get("password", "")
        )
        if role is Role.NOBODY:
            log.warning("board_login_refused")
            return await self._login_page(request, visitor, back, "That password is wrong.", 401)
        self._guesses.forget(visitor.address)
        answer = RedirectResponse(back, 303)
        name = one_line(form.get("by", ""), 60)
        session = self._access.sessions.begin(self._clock.now(), role, name)
        self._answers.set_session(answer, session, secure=visitor.secure)
        return answer

    async def _log_out(self, request: Request, visitor: Visitor) -> Response:
        form = await read_form(request)
        if not self._is_theirs(visitor, form):
            raise Refused(403, "Nothing was done", FORGED)
        answer = RedirectResponse("/login" if self._access.has_password else "/", 303)
        answer.delete_cookie(COOKIE, httponly=True, samesite="strict", secure=visitor.secure)
        return answer

    def _is_theirs(self, visitor: Visitor, form: Mapping[str, str]) -> bool:
        return self._access.sessions.is_token(visitor.session, form.get("csrf", ""))

    # --- taking note ----------------------------------------------------------------

    async def _acknowledge(self, request: Request, visitor: Visitor) -> Response:
        form = await read_form(request)
        if not visitor.role.may_acknowledge:
            raise Refused(403, "Nothing was done", "Only the desk may take note; log in as it.")
        if not self._is_theirs(visitor, form):
            raise Refused(403, "Nothing was done", FORGED)
        by = one_line(form.get("by", ""), 60) or visitor.name or "the board"
        note = one_line(form.get("note", ""), 300)
        episode = request.path_params["id"]
        now = self._clock.now()
        await self._in_thread(lambda: self._source.acknowledge((episode,), by, note, now))
        back = own_path(form.get("back", "") or f"/episodes/{quote(episode)}")
        token = self._access.sessions.token(visitor.session)
        return RedirectResponse(with_query(back, done=token), 303)

    async def _show_link(self, request: Request, visitor: Visitor) -> Response:
        del visitor
        token = request.path_params["token"]
        shown: Response = await self._in_thread(lambda: self._link_page(token, self._source.link))
        return shown

    async def _use_link(self, request: Request, visitor: Visitor) -> Response:
        del visitor
        token = request.path_params["token"]
        form = await read_form(request)
        if not self._links.is_form(token, form.get("form", "")):
            raise Refused(403, "Nothing was done", FORGED)
        shown: Response = await self._in_thread(
            lambda: self._link_page(token, self._source.take_note)
        )
        return shown

    def _link_page(self, token: str, answer: Callable[..., LinkShown]) -> Response:
        now = self._clock.now()
        opened: Opened | None = self._links.read(token, self._source.contact_of, now)
        if opened is None:
            html = self._pages.link(LinkShown(valid=False, words=NO_LINK))
            return Response(html, 404, media_type=HTML)
        shown = answer(opened.notice, opened.contact, now)
        if shown.button:
            shown = shown._replace(action=LINK_PATH + token, form=self._links.form_of(token))
        return Response(self._pages.link(shown), media_type=HTML)
