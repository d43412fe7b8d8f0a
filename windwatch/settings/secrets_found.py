"""Fetching secrets from the environment or from files, without ever showing one."""

from __future__ import annotations

import base64
import binascii
import os
import stat
from collections.abc import Sequence
from typing import Final

from windwatch.settings.files import fingerprint, no_fingerprint, relative
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.secret import Secret

_MOST_BYTES: Final = 4096
# reliability.md section 3: at least 24 random bytes; the Standard Webhooks scheme (section
# "Signature scheme") asks for 24 to 64 bytes, base64 behind whsec_.
_LEAST_SIGNING: Final = 24
_MOST_SIGNING: Final = 64
_HOW_TO_MAKE_ONE: Final = (
    "make one with: python3 -c \"import base64, os; print('whsec_' + "
    'base64.b64encode(os.urandom(32)).decode())"'
)


def password(
    found: Findings,
    loc: Loc,
    variable: str | None,
    file: str | None,
    *,
    stem: str = "password",
    needed: bool = True,
) -> Secret | None:
    """Return a password from the one place that is named; None where none is, or it is missing.

    Parameters
    ----------
    stem : str
        Keys are ``password_env`` and ``password_file`` for ``password``.
    needed : bool
        False: nothing will be sent with it, so a missing one is a caution only.
    """
    if variable is not None and file is not None:
        found.refuse(
            (*loc, f"{stem}_file"),
            f"given in two places, {stem}_env and {stem}_file",
            "keep one of the two",
            (*loc, f"{stem}_env"),
        )
        return None
    if variable is not None:
        return _from_environment(found, (*loc, f"{stem}_env"), variable, needed=needed)
    if file is not None:
        return _from_file(found, (*loc, f"{stem}_file"), file, needed=needed)
    return None


def signing_secrets(
    found: Findings,
    loc: Loc,
    variables: Sequence[str] | None,
    files: Sequence[str] | None,
    *,
    needed: bool,
) -> tuple[Secret, ...]:
    """Return the secrets of a webhook, newest first; at most two, while one replaces another."""
    if variables is not None and files is not None:
        found.refuse(
            (*loc, "secret_file"),
            "given in two places, secret_env and secret_file",
            "keep one of the two",
            (*loc, "secret_env"),
        )
        return ()
    key, names = ("secret_env", variables) if variables is not None else ("secret_file", files)
    if names is None:
        found.refuse(
            loc,
            "no secret to sign with",
            'add secret_env = "WINDWATCH_DESK_SECRET", the environment variable that holds it',
            loc,
        )
        return ()
    if not 1 <= len(names) <= 2:
        found.refuse(
            (*loc, key), f"{len(names)} secrets", "name one, or two while one replaces the other"
        )
    fetched = []
    for number, name in enumerate(names):
        where: Loc = (*loc, key, number)
        if key == "secret_env":
            secret = _from_environment(found, where, name, needed=needed)
        else:
            secret = _from_file(found, where, name, needed=needed)
        if secret is not None:
            _judge_signing(found, where, secret)
            fetched.append(secret)
    return tuple(fetched)


def _judge_signing(found: Findings, loc: Loc, secret: Secret) -> None:
    try:
        text = secret.reveal().removeprefix("whsec_")
        # Some tools leave the padding out.
        key = base64.b64decode(text + "=" * (-len(text) % 4), validate=True)
    except (binascii.Error, ValueError):
        found.refuse(loc, "what it holds is not whsec_ and base64", _HOW_TO_MAKE_ONE)
        return
    if not _LEAST_SIGNING <= len(key) <= _MOST_SIGNING:
        found.refuse(
            loc,
            f"what it holds is {len(key)} bytes long, not {_LEAST_SIGNING} to {_MOST_SIGNING}",
            _HOW_TO_MAKE_ONE,
        )


def _missing(found: Findings, loc: Loc, problem: str, mend: str, *, needed: bool) -> None:
    if needed and found.require_secrets:
        found.refuse(loc, problem, mend)
    elif needed:
        found.caution(loc, problem, mend)
    else:
        found.caution(loc, f"{problem}, which matters once notices are really sent", mend)


def _from_environment(found: Findings, loc: Loc, variable: str, *, needed: bool) -> Secret | None:
    held = found.environ.get(variable, "")
    if not held:
        state = "empty" if variable in found.environ else "not set"
        _missing(
            found,
            loc,
            f"the environment variable {variable} is {state}",
            f"set it before windwatch starts, as {variable}=…",
            needed=needed,
        )
        return None
    return _clean(found, loc, held)


def _from_file(found: Findings, loc: Loc, name: str, *, needed: bool) -> Secret | None:
    path = relative(found.merged.folder(loc), name)
    try:
        with path.open("rb") as stream:
            content = stream.read(_MOST_BYTES + 1)
            mode = os.fstat(stream.fileno()).st_mode
        # The first: where it is read twice and differs, it is to be read once more.
        found.secret_files.setdefault(path, fingerprint(content))
        held = content.decode().removesuffix("\n").removesuffix("\r")
    except OSError as error:
        found.secret_files.setdefault(path, no_fingerprint(error))
        # The name is not shown: it may be the secret itself, written in the wrong place.
        reason = (error.strerror or "it cannot be read").lower()
        _missing(
            found,
            loc,
            f"the file it names cannot be read ({reason})",
            "name a file that windwatch may read; its path counts from the folder of this file",
            needed=needed,
        )
        return None
    except UnicodeDecodeError:
        found.refuse(loc, "the file it names is not text", "write the secret alone into it")
        return None
    if not held or len(content) > _MOST_BYTES:
        found.refuse(
            loc,
            "the file it names is " + ("empty" if not held else f"longer than {_MOST_BYTES} bytes"),
            "write the secret alone into it",
        )
        return None
    if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
        found.caution(
            loc,
            f"the file it names can be read by others (mode {stat.S_IMODE(mode):o})",
            "take that away: chmod 600",
        )
    return _clean(found, loc, held)


def _clean(found: Findings, loc: Loc, held: str) -> Secret | None:
    if any(ord(char) < 32 or ord(char) == 127 for char in held):
        found.refuse(
            loc,
            "what it holds has a line break or control character in it",
            "keep the secret alone in one line",
        )
        return None
    return Secret(held)
