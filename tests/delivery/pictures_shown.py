"""Pictures for tests of delivery, and what a PNG and a mail hold, read without our own code."""

import struct
import zlib
from email.message import EmailMessage

from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship.control_positions import control_positions
from windwatch.assessment.values import Mark
from windwatch.drawings.field_facts import Field, FieldEnd, FieldRunway
from windwatch.episodes.values import computed_id
from windwatch.notices.values import HeldOnLeg, Picture
from windwatch.wind import DegreesTrue, Knots, Steady, Wind

GUSTS = Wind(Steady(DegreesTrue(300)), Knots(28), Knots(41))


def a_field(name: str = "XLKS Larkspur", caption: str = "") -> Picture:
    facts = Field(
        name,
        GUSTS,
        (
            FieldRunway(
                (
                    FieldEnd("10", DegreesTrue(91.4), Mark.OVER, "36 > 10 kt", "tailwind"),
                    FieldEnd("28", DegreesTrue(271.4), Mark.NEAR, "20 of 24 kt", "crosswind"),
                )
            ),
        ),
        for_whom="X-TERN / dual",
        as_of="observed 15:07 local (19:07Z)",
    )
    return Picture(computed_id("field", name, caption), facts, caption)


def a_card(leg: str = "apron to hold 28", caption: str = "Nosewheel: X-LARK") -> Picture:
    heading = DegreesTrue(181.1)
    gear, wing = Gear.NOSEWHEEL, WingPosition.HIGH
    positions = control_positions(GUSTS, heading, gear, wing)
    facts = HeldOnLeg(leg, heading, gear, wing, positions)
    return Picture(computed_id("card", leg, caption), facts, caption)


def pixels_of(png: bytes, most_rows: int = 60) -> tuple[int, int, set[bytes]]:
    """Width, height and the colours of the first rows of a PNG.

    By the published format (Portable Network Graphics, W3C, third edition: chunks in 5.3, filters
    in 9.2, Paeth in 9.4), for eight bits and no interlacing.
    """
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    place, data = 8, b""
    while place < len(png):
        length, kind = struct.unpack(">I4s", png[place : place + 8])
        chunk = png[place + 8 : place + 8 + length]
        [crc] = struct.unpack(">I", png[place + 8 + length : place + 12 + length])
        assert crc == zlib.crc32(kind + chunk)
        if kind == b"IHDR":
            width, height, depth, colour, *_, interlaced = struct.unpack(">IIBBBBB", chunk)
        data += chunk if kind == b"IDAT" else b""
        place += 12 + length
    assert (depth, interlaced) == (8, 0)
    size = {2: 3, 6: 4}[colour]
    rows, stride = zlib.decompress(data), width * size
    before, colours = bytearray(stride), set()
    for start in range(0, (stride + 1) * min(height, most_rows), stride + 1):
        row = _unfiltered(
            rows[start], bytearray(rows[start + 1 : start + 1 + stride]), before, size
        )
        colours |= {bytes(row[at : at + 3]) for at in range(0, stride, size)}
        before = row
    assert len(rows) == (stride + 1) * height
    return width, height, colours


def _unfiltered(kind: int, row: bytearray, above: bytearray, size: int) -> bytearray:
    for at in range(len(row)):
        left = row[at - size] if at >= size else 0
        up, corner = above[at], above[at - size] if at >= size else 0
        guess = left + up - corner
        paeth = min((left, up, corner), key=lambda each: abs(guess - each))
        row[at] = (row[at] + (0, left, up, (left + up) // 2, paeth)[kind]) & 255
    return row


def parts_of(message: EmailMessage) -> tuple[EmailMessage, EmailMessage, list[EmailMessage]]:
    """The plain words, the HTML, and the pictures beside it."""
    assert message.get_content_type() == "multipart/alternative"
    plain, rich = message.iter_parts()
    if rich.get_content_type() == "text/html":
        return plain, rich, []
    assert rich.get_content_type() == "multipart/related"
    # RFC 2387, 3.1: the type of the part that is shown first.
    assert rich.get_param("type") == "text/html"
    html, *pictures = rich.iter_parts()
    return plain, html, pictures
