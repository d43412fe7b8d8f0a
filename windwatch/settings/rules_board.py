"""Contradictions about the board, and its running values."""

from __future__ import annotations

import ipaddress
from typing import Final
from urllib.parse import urlsplit

from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.running import BoardValues
from windwatch.settings.schema_board import BoardTable
from windwatch.settings.secret import Secret
from windwatch.settings.secrets_found import password
from windwatch.settings.words import shown_url

# 24 random bytes, however they are written (reliability, section 3: webhook secrets).
LEAST_SECRET: Final = 24


def judge_board(found: Findings) -> BoardValues | None:
    """Judge the board, and return its running values; None where there is no such table."""
    board = found.whole.board
    if board is None:
        return None
    loc: Loc = ("board",)
    _judge_listen(found, loc, board)
    secret = _secret(found, loc, board)
    _judge_address(found, loc, board, signed=secret is not None)
    return BoardValues(
        listen=board.listen,
        port=board.port,
        address=None if board.address is None else board.address.rstrip("/"),
        names=tuple(board.names),
        password_hash=_kept(board.password_hash),
        viewer_password_hash=_kept(board.viewer_password_hash),
        trusted_proxy=tuple(board.trusted_proxy),
        proxy_may_acknowledge=board.proxy_lets == "take note",
        secret=secret,
        with_watch=board.with_watch,
    )


def _kept(text: str | None) -> Secret | None:
    return None if text is None else Secret(text)


def _judge_listen(found: Findings, loc: Loc, board: BoardTable) -> None:
    passwords = board.password_hash or board.viewer_password_hash
    guarded = passwords is not None or bool(board.trusted_proxy)
    if not guarded and not ipaddress.ip_address(board.listen).is_loopback:
        found.refuse(
            (*loc, "listen"),
            f"whoever reaches {board.listen} could look and take note",
            "add password_hash, made with: windwatch board --hash-password; or name the proxy "
            'in front of it, as trusted_proxy = ["10.0.0.5/32"]; or write listen = "127.0.0.1"',
            (*loc, "password_hash"),
            (*loc, "viewer_password_hash"),
            (*loc, "trusted_proxy"),
        )
    for place, network in enumerate(board.trusted_proxy):
        if ipaddress.ip_network(network, strict=False).prefixlen == 0:
            found.refuse(
                (*loc, "trusted_proxy", place),
                f'"{network}" trusts everybody',
                'name the proxy alone, as "10.0.0.5/32"',
            )


def _secret(found: Findings, loc: Loc, board: BoardTable) -> Secret | None:
    secret = password(found, loc, board.secret_env, board.secret_file, stem="secret")
    if secret is None or len(secret.reveal()) >= LEAST_SECRET:
        return secret
    found.refuse(
        (*loc, "secret_env" if board.secret_env is not None else "secret_file"),
        f"what it holds is shorter than {LEAST_SECRET} characters",
        'make one with: python3 -c "import secrets; print(secrets.token_urlsafe(32))"',
    )
    return None


def _judge_address(found: Findings, loc: Loc, board: BoardTable, *, signed: bool) -> None:
    if board.address is None:
        return
    at = (*loc, "address")
    parts = urlsplit(board.address)
    if parts.path.strip("/") or parts.query:
        found.refuse(
            at,
            f"{shown_url(board.address)} has more than a host in it",
            'write the host alone, as "https://board.larkspur.example"',
        )
    elif parts.scheme == "http" and not _this_machine(parts.hostname or ""):
        found.caution(
            at,
            "it is not encrypted: passwords and links can be read on the way",
            "put a proxy that encrypts before the board, and write https://",
        )
    if not signed and board.secret_env is None and board.secret_file is None:
        found.caution(
            at,
            "without a secret to sign them, notices bear no links to take note",
            'add secret_env = "WINDWATCH_BOARD_SECRET"',
            (*loc, "secret_env"),
            (*loc, "secret_file"),
        )


def _this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.rstrip(".") == "localhost"
