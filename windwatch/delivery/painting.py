"""Drawings to PNG, in a process of its own: `windwatch.delivery.pictures` runs this file.

The library draws in native code that nothing can stop, and lets nobody else work meanwhile; a
process can be ended. It knows nothing of windwatch, gets no secrets, and its whole input is one
JSON text: drawings and fonts.
"""

from __future__ import annotations

import base64
import contextlib
import json
import sys

# Bytes of memory, where the system lets a process bound itself.
MOST_MEMORY = 1 << 30
# Of the processor, for one mail. [s]
MOST_CPU_S = 60


def main() -> None:
    """Read what to paint, write the pictures: base64, or null where one fails."""
    _bound()
    asked = json.load(sys.stdin)
    sys.path.append(asked["library"])
    painted = [_painted(drawing, asked["fonts"], asked["paper"]) for drawing in asked["drawings"]]
    json.dump(painted, sys.stdout)


def _painted(drawing: dict[str, object], fonts: list[str], paper: str) -> str | None:
    import resvg_py  # noqa: PLC0415 - only now is it to be found

    try:
        png = resvg_py.svg_to_bytes(
            svg_string=str(drawing["svg"]),
            width=int(str(drawing["width"])),
            background=paper,
            # The same picture on every machine, also where there are no fonts.
            skip_system_fonts=True,
            font_files=fonts,
            font_family="DejaVu Sans",
            sans_serif_family="DejaVu Sans",
        )
    except Exception:  # noqa: BLE001 - whatever one drawing does, the others are painted
        return None
    return base64.b64encode(png).decode("ascii")


def _bound() -> None:
    """No more memory than that; some systems have no such bound, and some forbid to set it."""
    try:
        import resource  # noqa: PLC0415 - not everywhere
    except ImportError:
        return
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    with contextlib.suppress(OSError, ValueError):
        # Whoever asked may be gone, and nobody there to end it.
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))


if __name__ == "__main__":
    main()
