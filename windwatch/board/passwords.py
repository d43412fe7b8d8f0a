"""Passwords, kept only as what cannot be turned back."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
from typing import Final

LEAST_LENGTH: Final = 8
MOST_LENGTH: Final = 256
# 16 MiB for each look at a password; OWASP, Password Storage Cheat Sheet: N=2^14, r=8, p=5
# (from memory).
_N, _R, _P = 16_384, 8, 5
# Where the system's library has no scrypt. Same sheet: 600,000 rounds (from memory).
_ROUNDS: Final = 600_000
# A hash from elsewhere may ask for more, but not for all there is.
_MOST_MEMORY: Final = 160 << 20
_MOST_ROUNDS: Final = 10_000_000


def hash_password(password: str, salt: bytes | None = None) -> str:
    """Return what is written into the configuration: ``scrypt:16384:8:5:salt:hash``.

    Raises
    ------
    ValueError
        If it is too short or too long.
    """
    if not LEAST_LENGTH <= len(password) <= MOST_LENGTH:
        raise ValueError(f"a password has {LEAST_LENGTH} to {MOST_LENGTH} characters")
    salt = os.urandom(16) if salt is None else salt
    if hasattr(hashlib, "scrypt"):
        made = _scrypt(password, salt, _N, _R, _P)
        return f"scrypt:{_N}:{_R}:{_P}:{_text(salt)}:{_text(made)}"
    made = _pbkdf2(password, salt, _ROUNDS)
    return f"pbkdf2:{_ROUNDS}:{_text(salt)}:{_text(made)}"


def is_password(password: str, kept: str) -> bool:
    """Whether a password is the one whose hash is kept; takes about as long whatever it is."""
    if len(password) > MOST_LENGTH:
        return False
    kind, *figures, salt, made = kept.split(":")
    try:
        if kind == "scrypt":
            n, r, p = map(int, figures)
            found = _scrypt(password, _bytes(salt), n, r, p)
        else:
            (rounds,) = map(int, figures)
            found = _pbkdf2(password, _bytes(salt), min(rounds, _MOST_ROUNDS))
    except ValueError:
        # Figures that the library refuses: nobody gets in by them.
        return False
    return hmac.compare_digest(found, _bytes(made))


def _scrypt(password: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    return hashlib.scrypt(
        password.encode(), salt=salt, n=n, r=r, p=p, maxmem=_MOST_MEMORY, dklen=32
    )


def _pbkdf2(password: str, salt: bytes, rounds: int) -> bytes:
    return hashlib.pbkdf2_hmac("sha256", password.encode(), salt, rounds)


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
