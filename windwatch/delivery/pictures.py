"""The pictures of a mail as PNG: within a time and a size, or none.

The words are complete without them (promise 20). So whatever fails here costs the pictures and
nothing else, and not for long: where it took too long, nobody tries again for a minute.
"""

from __future__ import annotations

import base64
import importlib.util
import json
import logging
import os
import struct
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from enum import Enum, auto
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from windwatch.clock import SystemClock
from windwatch.drawings.field_facts import Field
from windwatch.drawings.svg import Drawing
from windwatch.drawings.theme import LIGHT
from windwatch.notices.bounded import Guard, NoWords
from windwatch.notices.pictures import drawn
from windwatch.notices.values import Picture

# Bytes of all pictures of a mail; a picture has 40,000 to 90,000.
MOST_BYTES: Final = 300_000
# Characters of a drawing; the largest have 25,000.
MOST_SVG: Final = 200_000
# Painted that wide, half as wide again as the 336 pixels that are shown: sharp enough on a fine
# screen, and painting takes time by the pixel. [pixels]
PAINTED_WIDTH: Final = 504
# With a wait for others all together are less than the 5 s after which the words must be out. [s]
DRAWN_WITHIN_S: Final = 0.75
PAINTED_WITHIN_S: Final = 2.0
WAITED_SHARE: Final = 0.75  # of the latter
PAUSE_S: Final = 60.0
MARGIN: Final = 6.0  # of paper around a drawing, in its units
# How many mails' pictures are painted at a time.
AT_ONCE: Final = 2
# Painted pictures that are kept: contacts who hear the same have the same.
KEPT: Final = 96
LIBRARY: Final = "resvg_py"
FONTS: Final = tuple(
    str(Path(__file__).parent / "fonts" / name)
    for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
)

log = logging.getLogger(__name__)
_monotonic = SystemClock().monotonic


# What a picture is painted from: captions, which name people's aircraft, stand outside of it.
Key = tuple[object, str]


class Canvas(NamedTuple):
    """A painted drawing."""

    png: bytes
    alt: str
    width: float
    height: float


class _Later(Enum):
    """No picture this time; it may be asked for again."""

    LATER = auto()


LATER: Final = _Later.LATER


class Painted(NamedTuple):
    """A picture as it goes out.

    Attributes
    ----------
    alt : str
        All that it says, in words.
    of_field : bool
        The field from above; else the controls on a taxi leg.
    width, height : float
        As it is drawn; the PNG has more pixels.
    """

    id: str
    png: bytes
    alt: str
    caption: str
    of_field: bool
    width: float
    height: float


class Painter:
    """Makes PNG of pictures, and keeps the latest.

    Parameters
    ----------
    command : sequence of str
        What paints: reads JSON and writes JSON, as `windwatch.delivery.painting` does.
    patience_s : float
        How long it may take for one mail. [s]
    draw : callable
        What makes a drawing of a picture.
    """

    def __init__(
        self,
        command: Sequence[str] | None = None,
        patience_s: float = PAINTED_WITHIN_S,
        draw: Callable[[Picture], Drawing] = drawn,
        monotonic: Callable[[], float] = _monotonic,
    ) -> None:
        here = str(Path(__file__).with_name("painting.py"))
        # Isolated: no folder of its own and no setting of the user says what it imports.
        self._command = tuple(command or (sys.executable, "-I", "-S", here))
        self._patience_s = patience_s
        self._draw = draw
        self._guard = Guard(DRAWN_WITHIN_S, PAUSE_S)
        self._monotonic = monotonic
        self._not_before = float("-inf")
        self._kept: OrderedDict[Key, Canvas | None] = OrderedDict()
        self._turn = threading.Condition()
        self._under_way: set[Key] = set()
        self._busy = 0

    def paint(
        self, pictures: Sequence[Picture], patience_s: float | None = None
    ) -> tuple[Painted, ...]:
        """Paint the pictures of one mail; those that cannot be had in time are left out.

        Never raises: a mail goes without pictures where need be.

        Parameters
        ----------
        patience_s : float or None
            Where nobody waits for the mail; None: as the painter has it. [s]
        """
        if not pictures:
            return ()
        try:
            found = self._found(pictures, patience_s)
        except Exception as error:
            if isinstance(error, OSError | subprocess.SubprocessError):
                log.warning("pictures_failed", extra={"why": _why(error)})
            else:
                log.exception("pictures_failed", extra={"why": _why(error)})
            return ()
        return _within(found, MOST_BYTES)

    def _found(self, pictures: Sequence[Picture], patient_s: float | None) -> list[Painted]:
        patience_s = patient_s or self._patience_s
        mine = self._begin(pictures, patience_s * WAITED_SHARE, queues=patient_s is not None)
        painted: list[Canvas | _Later | None] = []
        try:
            if mine and self._monotonic() >= self._not_before:
                painted = self._painted(mine, patience_s)
        except Exception:
            # Before others have their turn: they are not to try the same.
            self._not_before = self._monotonic() + PAUSE_S
            raise
        finally:
            self._end(mine, painted)
        with self._turn:
            kept = [(picture, self._kept.get(_key(picture))) for picture in pictures]
        return [_as_painted(picture, canvas) for picture, canvas in kept if canvas is not None]

    def _begin(self, pictures: Sequence[Picture], waits_s: float, *, queues: bool) -> list[Picture]:
        """Wait for what others paint already; return what is to be painted.

        Parameters
        ----------
        queues : bool
            Wait for a place, too: in a crowd of different pictures that makes the last mail late.
        """
        with self._turn:
            self._turn.wait_for(lambda: self._has_turn(pictures, queues=queues), timeout=waits_s)
            missing = self._missing(pictures)
            mine = missing if self._free_for(missing) else []
            self._under_way |= {_key(picture) for picture in mine}
            self._busy += bool(mine)
            return mine

    def _has_turn(self, pictures: Sequence[Picture], *, queues: bool) -> bool:
        missing = self._missing(pictures)
        others_paint_it = not self._under_way.isdisjoint(map(_key, missing))
        return not others_paint_it and not (queues and missing and self._busy >= AT_ONCE)

    def _free_for(self, missing: Sequence[Picture]) -> bool:
        return self._busy < AT_ONCE and self._under_way.isdisjoint(map(_key, missing))

    def _missing(self, pictures: Sequence[Picture]) -> list[Picture]:
        """Those that are not kept; the others have been asked for last."""
        missing = []
        for picture in pictures:
            if (key := _key(picture)) in self._kept:
                self._kept.move_to_end(key)
            else:
                missing.append(picture)
        return missing

    def _end(self, mine: Sequence[Picture], painted: Sequence[Canvas | _Later | None]) -> None:
        """Keep what was painted, and let others have their turn."""
        with self._turn:
            keys = [_key(picture) for picture in mine]
            # Nothing was painted where that failed or is not to be tried now.
            self._kept.update(
                (key, canvas)
                for key, canvas in zip(keys, painted, strict=False)
                if not isinstance(canvas, _Later)
            )
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
            self._under_way -= set(keys)
            self._busy -= bool(mine)
            self._turn.notify_all()

    def _painted(
        self, pictures: Sequence[Picture], patience_s: float
    ) -> list[Canvas | _Later | None]:
        """Paint pictures; None of what cannot be drawn, so that nobody tries it again."""
        drawings = [self._drawing(picture) for picture in pictures]
        library = importlib.util.find_spec(LIBRARY)
        if library is None or library.origin is None:
            # Not everywhere is there such a package, and no use in asking again.
            return [None for _ in pictures]
        asked = {
            "library": str(Path(library.origin).parent.parent),
            "fonts": FONTS,
            "paper": LIGHT.paper,
            "drawings": [
                {"svg": _with_margin(drawing), "width": PAINTED_WIDTH}
                for drawing in drawings
                if isinstance(drawing, Drawing)
            ],
        }
        answers = iter(self._asked(json.dumps(asked), patience_s))
        return [
            _canvas(drawing, next(answers)) if isinstance(drawing, Drawing) else drawing
            for drawing in drawings
        ]

    def _drawing(self, picture: Picture) -> Drawing | _Later | None:
        try:
            drawing = self._guard.made(partial(self._draw, picture))
        except NoWords as error:
            # It took too long, or another one did a moment ago: that says nothing of it for good.
            log.warning("picture_not_drawn", extra={"picture": picture.id, "why": str(error)})
            return LATER
        except Exception:
            log.exception("picture_not_drawn", extra={"picture": picture.id})
            return None
        return drawing if len(drawing.svg) <= MOST_SVG else None

    def _asked(self, asked: str, patience_s: float) -> list[str | None]:
        ended = subprocess.run(  # noqa: S603 - our own file, by our own interpreter
            self._command,
            input=asked.encode(),
            capture_output=True,
            timeout=patience_s,
            check=True,
            # None of our secrets.
            env={name: os.environ[name] for name in ("SYSTEMROOT",) if name in os.environ},
        )
        answers: list[str | None] = json.loads(ended.stdout)
        return answers


PAINTER: Final = Painter()


def _key(picture: Picture) -> Key:
    return picture.facts, picture.unit


def _canvas(drawing: Drawing, answer: str | None) -> Canvas | None:
    if answer is None:
        log.warning("picture_not_painted", extra={"picture": drawing.title})
        return None
    png = base64.b64decode(answer, validate=True)
    if size_of(png) is None:
        raise ValueError("what was painted is no PNG")
    around = 2 * MARGIN
    return Canvas(png, drawing.alternative, drawing.width + around, drawing.height + around)


def _as_painted(picture: Picture, canvas: Canvas) -> Painted:
    return Painted(
        id=picture.id,
        png=canvas.png,
        alt=canvas.alt,
        caption=picture.caption,
        of_field=isinstance(picture.facts, Field),
        width=canvas.width,
        height=canvas.height,
    )


def _with_margin(drawing: Drawing) -> str:
    """The drawing with paper around it, since in a dark mail the paper has an edge."""
    left, width, height = -MARGIN, drawing.width + 2 * MARGIN, drawing.height + 2 * MARGIN
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="{left:g} {left:g} {width:g} {height:g}">{drawing.svg}</svg>'
    )


def size_of(png: bytes) -> tuple[int, int] | None:
    """Width and height of a PNG in pixels; None where it is none."""
    # Portable Network Graphics (third edition), W3C, 5.2 and 11.2.1: signature and first chunk.
    if png[:8] != b"\x89PNG\r\n\x1a\n" or png[12:16] != b"IHDR" or len(png) < 24:
        return None
    width, height = struct.unpack(">II", png[16:24])
    return width, height


def _within(painted: Sequence[Painted], most: int) -> tuple[Painted, ...]:
    """The first ones, as long as there is room."""
    kept = []
    for each in painted:
        most -= len(each.png)
        if most < 0:
            break
        kept.append(each)
    return tuple(kept)


def _why(error: Exception) -> str:
    if isinstance(error, subprocess.TimeoutExpired):
        return f"not painted within {error.timeout:g} s"
    if isinstance(error, subprocess.CalledProcessError):
        last = error.stderr.decode(errors="replace").strip().splitlines()[-1:]
        return f"the painting process ended with {error.returncode}: {''.join(last)[:200]}"
    return f"{type(error).__name__}: {error}"
