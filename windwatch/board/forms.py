"""Forms that people send: read within a size and a time, and their fields cleaned."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Final
from urllib.parse import parse_qsl

from starlette.requests import ClientDisconnect, Request

from windwatch.board.access import Refused
from windwatch.board.limits import BODY_TIME_S, MOST_BODY, MOST_FIELDS
from windwatch.notices.clean import visible

_KIND: Final = "application/x-www-form-urlencoded"
_TOO_MUCH: Final = "A form of this board is a few hundred characters long."


async def read_form(request: Request) -> Mapping[str, str]:
    """The fields of a form.

    Raises
    ------
    Refused
        If it is too large, too slow, or no form of ours.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != _KIND:
        raise Refused(415, "No form of ours", "Only the forms of this board are taken.")
    length = request.headers.get("content-length", "0")
    if not length.isdecimal() or int(length) > MOST_BODY:
        raise Refused(413, "Too much", _TOO_MUCH)
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_TIME_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > MOST_BODY:
                    raise Refused(413, "Too much", _TOO_MUCH)
    except TimeoutError:
        raise Refused(408, "Too slow", "The form did not come in time; send it again.") from None
    except ClientDisconnect:
        raise Refused(400, "Cut off", "The form did not come whole; send it again.") from None
    try:
        fields = parse_qsl(
            body.decode(), keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="replace"
        )
    except ValueError:
        raise Refused(400, "No form of ours", "Its fields cannot be read.") from None
    return dict(fields)


def one_line(text: str, limit: int) -> str:
    """What somebody typed, on one line, what cannot be seen made visible."""
    return visible(text.strip()[:limit]).strip()


def own_path(text: str) -> str:
    """An address within this board, to go back to; the overview where it is none."""
    plain = text.isascii() and text.isprintable() and "\\" not in text and len(text) <= 1_000
    # What begins with two slashes is the name of another machine.
    return text if plain and text.startswith("/") and not text.startswith("//") else "/"
