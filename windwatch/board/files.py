"""The stylesheet and the script, under names that bear the hash of their content."""

from __future__ import annotations

from functools import lru_cache
from hashlib import sha256
from importlib.resources import files
from typing import Final

from windwatch.board.faces import Static
from windwatch.drawings.theme import DARK, LIGHT, PRINT, declarations

# Enough that no two versions share a name.
_HASH_LETTERS: Final = 12
_KINDS: Final = {"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8"}


@lru_cache(maxsize=1)
def shipped() -> dict[str, Static]:
    """Every file by the name under which pages ask for it."""
    found = {}
    for plain in ("board.css", "live.js"):
        stem, _, ending = plain.partition(".")
        text = files("windwatch.board").joinpath("static", plain).read_text(encoding="utf-8")
        content = (themes() + text if ending == "css" else text).encode()
        digest = sha256(content).hexdigest()[:_HASH_LETTERS]
        found[f"{stem}.{digest}.{ending}"] = Static(content, _KINDS[ending])
    return found


def address(ending: str) -> str:
    """Where the one file of a kind stands: ``/static/board.0123456789ab.css``."""
    [name] = [name for name in shipped() if name.endswith(f".{ending}")]
    return f"/static/{name}"


def themes() -> str:
    """The colours of drawings and pages: by day, by night and in print."""
    return (
        f":root {{ color-scheme: light dark;\n{declarations(LIGHT)} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{\n{declarations(DARK)} }} }}\n"
        f"@media print {{ :root {{ color-scheme: light;\n{declarations(PRINT)} }} }}\n"
    )
