"""Answers that are the same everywhere: a page with this reader's token, a refusal in words."""

from __future__ import annotations

import json
from typing import Final
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from windwatch.board.access import Access, Refused, Visitor
from windwatch.board.faces import CSRF_HERE, Pages
from windwatch.board.sessions import COOKIE, Session
from windwatch.clock import Clock

HTML: Final = "text/html; charset=utf-8"
JSON: Final = "application/json"
UNITS: Final = ("kt", "m/s", "km/h", "mph")
UNITS_COOKIE: Final = "windwatch_units"
_YEAR_S: Final = 31_536_000
# Asked by programs, which read no pages.
_FOR_PROGRAMS: Final = ("/api", "/live/", "/healthz")
# Of a request that nobody could be made out of.
_STRANGER: Final = CSRF_HERE.encode()


class Answers:
    """Makes them.

    Parameters
    ----------
    access : Access
    pages : Pages
    clock : Clock
    """

    def __init__(self, access: Access, pages: Pages, clock: Clock) -> None:
        self._access = access
        self._pages = pages
        self._clock = clock

    def page(self, html: bytes, request: Request, visitor: Visitor, status: int = 200) -> Response:
        """A page with this visitor's own token in its forms, and the cookie that it goes with."""
        forms = _STRANGER in html
        if forms:
            token = self._access.sessions.token(visitor.session)
            html = html.replace(_STRANGER, token.encode())
        answer = Response(html, status, media_type=HTML)
        if forms and not visitor.known:
            self.set_session(answer, visitor.session, secure=visitor.secure)
        units = request.query_params.get("units")
        if units in UNITS:
            answer.set_cookie(
                UNITS_COOKIE,
                units,
                max_age=_YEAR_S,
                secure=visitor.secure,
                httponly=True,
                samesite="strict",
            )
        return answer

    def set_session(self, answer: Response, session: Session, *, secure: bool) -> None:
        """Have the browser keep who it is."""
        lasts = session.until - self._clock.now()
        answer.set_cookie(
            COOKIE,
            self._access.sessions.as_cookie(session),
            max_age=int(lasts.total_seconds()),
            secure=secure,
            httponly=True,
            samesite="strict",
        )

    def refusal(self, request: Request, refused: Refused) -> Response:
        """Why not, in words, or for a program."""
        headers = {"retry-after": str(refused.wait_s)} if refused.wait_s else {}
        if request.url.path.startswith(_FOR_PROGRAMS):
            body = json.dumps({"problem": refused.headline, "words": refused.words})
            return Response(body, refused.status, headers, JSON)
        html = self._pages.problem(refused.status, refused.headline, refused.words)
        return Response(html, refused.status, headers, HTML)


def with_query(path: str, **more: str) -> str:
    """An address within this board with something added to its query."""
    return f"{path}{'&' if '?' in path else '?'}{urlencode(more)}"
