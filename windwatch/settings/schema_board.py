"""The table about the board: where it listens, and who may look and take note."""

from __future__ import annotations

import ipaddress
import re
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field

from windwatch.settings import words
from windwatch.settings.schema_base import (
    EnvironmentName,
    Network,
    PathText,
    Table,
    WebAddress,
)

# As `windwatch board --hash-password` writes it.
_HASH: Final = re.compile(
    r"(scrypt:\d{1,8}:\d{1,3}:\d{1,3}|pbkdf2:\d{1,8}):[A-Za-z0-9_-]{16,128}:[A-Za-z0-9_-]{32,128}"
)
_HASH_EXAMPLE: Final = (
    "scrypt:16384:8:5:kC4hL0bYtqTnF1mWv7uZgA:3sN8pJrXo2eQdI6yKcVfBaGhTlMwUzR5x9nPj4qLs0E"
)
_NAME: Final = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.-]{0,250}[A-Za-z0-9])?")


def _hash(text: str) -> str:
    if not _HASH.fullmatch(text):
        raise words.refused(
            "this is no hash of a password (not shown: it may be the password itself)",
            "make one with: windwatch board --hash-password",
        )
    return text


def _listen(text: str) -> str:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        raise words.refused(
            f"{words.shown(text)} is no address of a machine", 'write it in figures, as "127.0.0.1"'
        ) from None
    return text


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no name of a machine",
            'write its name alone, as "board.larkspur.example"',
        )
    return text.lower()


PasswordHash = Annotated[str, AfterValidator(_hash)]
MachineName = Annotated[str, AfterValidator(_name)]


class BoardTable(Table):
    """The board: pages that people look at, by the watch itself or by `windwatch board`."""

    listen: Annotated[str, AfterValidator(_listen)] = Field(
        default="127.0.0.1",
        description=(
            "Address of this machine where it listens; usually this machine alone. Any other "
            "needs a password or a trusted proxy."
        ),
        examples=["127.0.0.1"],
    )
    port: int = Field(
        default=8460, ge=1, le=65535, description="Port where it listens.", examples=[8460]
    )
    address: WebAddress | None = Field(
        default=None,
        description="How people reach it; with a secret, notices then bear links to take note.",
        examples=["https://board.larkspur.example"],
    )
    names: list[MachineName] = Field(
        default=[],
        description="Other names of machines under which it may be called.",
        examples=[["board.larkspur.example"]],
    )
    password_hash: PasswordHash | None = Field(
        default=None,
        description="Password of the desk, which may look and take note, hashed.",
        examples=[_HASH_EXAMPLE],
    )
    viewer_password_hash: PasswordHash | None = Field(
        default=None,
        description="Password of those who may only look, hashed.",
        examples=[_HASH_EXAMPLE],
    )
    trusted_proxy: list[Network] = Field(
        default=[],
        description="Where a proxy calls from that lets only the right people through.",
        examples=[["10.0.0.5/32"]],
    )
    proxy_lets: Literal["look", "take note"] = Field(
        default="look",
        description="What those may do whom that proxy lets through without a password of ours.",
        examples=["take note"],
    )
    secret_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable with the secret that signs links and logins.",
        examples=["WINDWATCH_BOARD_SECRET"],
    )
    secret_file: PathText | None = Field(
        default=None,
        description="File that holds that secret; without one, logins end with the process.",
        examples=["secrets/board"],
    )
    with_watch: bool = Field(
        default=True,
        description="The watch opens the board itself; false: only `windwatch board` does.",
        examples=[False],
    )
