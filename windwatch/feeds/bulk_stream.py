"""A stream of bytes made into lines: decompressed where it is gzip, bounded, in constant memory.

Cache files are served as gzip without saying so (reference/feeds.md section 2): the first two
bytes tell. What breaks off gives its whole lines, and says that its end is missing; what is
damaged gives nothing that could be trusted.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Final

from windwatch.errors import FeedError

MAGIC: Final = b"\x1f\x8b"
# The limits of `windwatch.answers`, for what is decompressed behind its back.
MAX_DECODED: Final = 64 * 1024 * 1024  # bytes: reliability.md F09
MAX_RATIO: Final = 200  # decompressed to sent: F09
RATIO_COUNTS_FROM: Final = 1024 * 1024
# A report of 2,000 characters of up to four bytes, and forty other columns, are far below.
MAX_LINE: Final = 16 * 1024
PIECE: Final = 64 * 1024
# A report and its date need more; shorter lines by the million are nothing but a burden.
BYTES_A_LINE: Final = 200
# Parts of one gzip file; each costs a new decompressor, whatever it holds.
MAX_PARTS: Final = 64


def pieces_of(body: bytes) -> Iterator[memoryview]:
    """Give a body piece by piece, without copying it."""
    view = memoryview(body)
    return (view[start : start + PIECE] for start in range(0, len(view), PIECE))


class Lines:
    """Lines of a stream, without their line feed, to be gone through once.

    A line longer than `MAX_LINE` comes with more than `MAX_LINE` bytes, but not with all.

    Parameters
    ----------
    pieces : iterable of bytes
        The stream, in pieces of any size.
    source : str
        Who sent it, for errors.
    whole : bool
        Whether something outside proves that nothing is missing at the end. Not needed for
        gzip, which proves it by itself.
    most : int
        Most bytes after decompression; of lines one for each `BYTES_A_LINE` of them.

    Attributes
    ----------
    cut : str
        Why the end is missing; empty if it is not. Known when the last line has come.
    unfinished : bytes
        How a last line begins that may be cut, and therefore does not come.

    Raises
    ------
    FeedError
        While going through, if the compressed part is damaged or a limit is passed.
    """

    def __init__(
        self,
        pieces: Iterable[bytes | memoryview],
        source: str,
        *,
        whole: bool = True,
        most: int = MAX_DECODED,
    ) -> None:
        self._pieces = pieces
        self._source = source
        self._whole = whole
        self._most = most
        self.cut = ""
        self.unfinished = b""

    def __iter__(self) -> Iterator[bytes]:
        pending = b""
        left = self._most // BYTES_A_LINE
        for piece in self._decoded():
            *lines, pending = (pending + piece).split(b"\n")
            yield from lines[: max(0, left)]
            left -= len(lines)
            if left < 0:
                raise FeedError(self._source, f"more than {self._most // BYTES_A_LINE:,} lines")
            # What is beyond recognition is not kept; one byte more than the limit tells.
            pending = pending[: MAX_LINE + 1]
        if pending and not (self.cut or self._whole):
            self.cut = "no length was given, and the last line has no end"
        if self.cut:
            self.unfinished = pending
        elif pending:
            yield pending

    def _decoded(self) -> Iterator[bytes]:
        """Give the pieces, decompressed if they begin like gzip."""
        pieces = iter(self._pieces)
        start = b""
        for piece in pieces:
            start += piece
            if len(start) >= len(MAGIC):
                break
        everything = chain((start,), pieces)
        if start.startswith(MAGIC):
            self._whole = True  # else `cut` will say so
            return self._unzipped(everything)
        return self._counted(everything)

    def _counted(self, pieces: Iterable[bytes | memoryview]) -> Iterator[bytes]:
        """Give the pieces up to the limit."""
        size = 0
        for piece in pieces:
            size += len(piece)
            self._check(size, size)
            # A piece of any size is split in steps, so that not all of its lines are held.
            for start in range(0, len(piece), PIECE):
                yield bytes(piece[start : start + PIECE])

    def _unzipped(self, pieces: Iterable[bytes | memoryview]) -> Iterator[bytes]:
        """Decompress, step by step."""
        decoder = zlib.decompressobj(16 + zlib.MAX_WBITS)
        sent = decoded = 0
        parts = 1
        for piece in pieces:
            sent += len(piece)
            left: bytes | memoryview = piece
            while left:
                if decoder.eof:
                    # Zeros may fill up the last block; anything else must be another part.
                    left = bytes(left).lstrip(b"\0")
                    if not left:
                        break
                    parts += 1
                    decoder = zlib.decompressobj(16 + zlib.MAX_WBITS)
                if parts > MAX_PARTS:
                    raise FeedError(self._source, f"more than {MAX_PARTS} compressed parts")
                for data in self._inflated(decoder, left):
                    decoded += len(data)
                    self._check(sent, decoded)
                    yield data
                left = decoder.unused_data
        if not decoder.eof:
            self.cut = "its compressed part ends too early"

    def _inflated(self, decoder: zlib._Decompress, left: bytes | memoryview) -> Iterator[bytes]:
        """Decompress one piece, never more than a step at once."""
        while True:
            try:
                data = decoder.decompress(left, PIECE)
            except zlib.error as error:
                raise FeedError(self._source, f"its compressed part is damaged: {error}") from error
            yield data
            left = decoder.unconsumed_tail
            if decoder.eof or (not left and len(data) < PIECE):
                return

    def _check(self, sent: int, decoded: int) -> None:
        """Keep to the limits."""
        if decoded > self._most:
            raise FeedError(self._source, f"longer than {self._most:,} bytes when decompressed")
        if decoded > RATIO_COUNTS_FROM and decoded > MAX_RATIO * sent:
            raise FeedError(self._source, f"decompresses to more than {MAX_RATIO} times its size")
