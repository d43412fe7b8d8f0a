"""Read what a printed page says: the few forms of PDF that Chromium writes, and no others."""

from __future__ import annotations

import re
import unicodedata
import zlib

_OBJECT = re.compile(rb"(?<=\n)(\d+) 0 obj\b(.*?)endobj", re.DOTALL)
_STREAM = re.compile(rb"stream\r?\n(.*)endstream", re.DOTALL)
_PAIR = re.compile(r"<([0-9A-Fa-f]+)> <([0-9A-Fa-f]+)>(?: <([0-9A-Fa-f]+)>)?")
_TOLD = re.compile(r"/(\w+) [\d.]+ Tf|<([0-9A-Fa-f]+)>")


def texts_of(pdf: bytes) -> list[str]:
    """The letters of each page in the order of painting, without blanks."""
    objects = {int(number): body for number, body in _OBJECT.findall(pdf)}
    pages = [body for body in objects.values() if re.search(rb"/Type\s*/Page\b(?!s)", body)]
    found = []
    for page in pages:
        fonts = {
            name.decode(): _letters(objects, int(number))
            for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", page)
        }
        contents = re.search(rb"/Contents (\d+) 0 R", page)
        assert contents, "a page has contents"
        found.append(_read(_stream(objects[int(contents[1])]), fonts))
    return found


def _stream(body: bytes) -> str:
    stream = _STREAM.search(body)
    assert stream, "an object with a stream"
    raw = stream[1]
    return (zlib.decompressobj().decompress(raw) if b"FlateDecode" in body else raw).decode(
        "latin-1"
    )


def _letters(objects: dict[int, bytes], font: int) -> dict[str, str]:
    """Which letter the hex code of a glyph stands for."""
    table = re.search(rb"/ToUnicode (\d+) 0 R", objects[font])
    letters: dict[str, str] = {}
    if table is None:
        return letters
    _, _, rows = _stream(objects[int(table[1])]).partition("endcodespacerange")
    for first, second, third in _PAIR.findall(rows):
        if third:
            for step in range(int(second, 16) - int(first, 16) + 1):
                code = f"{int(first, 16) + step:0{len(first)}X}"
                letters[code] = chr(int(third, 16) + step)
        else:
            letters[first] = bytes.fromhex(second).decode("utf-16-be")
    return letters


def _read(content: str, fonts: dict[str, dict[str, str]]) -> str:
    letters: dict[str, str] = {}
    said = []
    for font, glyphs in _TOLD.findall(content):
        if font:
            letters = fonts.get(font, {})
        else:
            step = len(next(iter(letters), "0000"))
            codes = [glyphs[at : at + step].upper() for at in range(0, len(glyphs), step)]
            said += [letters.get(code, "") for code in codes]
    # A font's joined letters (ffi) become letters again.
    return "".join(unicodedata.normalize("NFKC", "".join(said)).split())
