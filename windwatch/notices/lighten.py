"""A payload kept to the size that a webhook's body may have: what is least needed goes first."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Final

from windwatch.notices.clean import visible

# Reliability, section 3: a webhook body is at most 20 kB; delivery adds nothing to it.
MOST_BYTES: Final = 20_000
_COMPACT: Final = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


def size(payload: Any) -> int:
    """Bytes of the body, or of a part of it, as the webhook writes it: compact, UTF-8."""
    text = _COMPACT.encode(payload)
    return len(text) if text.isascii() else len(text.encode())


def _weight(name: str, length: int) -> int:
    """Bytes of one entry with its name, two quotes, colon and comma."""
    return len(name) + 4 + length


def _length_of_list(lengths: list[int]) -> int:
    """Bytes of a list, with brackets and commas."""
    return 2 + sum(lengths) + max(0, len(lengths) - 1)


class Load:
    """A payload that is made lighter, and what each of its entries weighs.

    Entries are replaced, never changed: several payloads hold the same lists. They are measured
    one by one, because writing the whole anew after each change takes longer than all the rest.

    Attributes
    ----------
    weights : dict of str to int
        Bytes of each entry of the payload, by name.
    lengths : dict of str to list of int
        Bytes of each entry of its lists, by name.
    """

    def __init__(
        self, payload: dict[str, Any], weights: dict[str, int], lengths: dict[str, list[int]]
    ) -> None:
        self.payload = payload
        self.weights = weights
        self.lengths = lengths

    @property
    def over(self) -> int:
        """Bytes over what is allowed."""
        return 1 + sum(self.weights.values()) - MOST_BYTES

    def put(self, name: str, value: Any) -> None:
        """Replace an entry."""
        if isinstance(value, list):
            self._put_list(name, value, [size(entry) for entry in value])
            return
        self.payload[name] = value
        self.weights[name] = _weight(name, size(value))

    def _put_list(self, name: str, entries: list[Any], lengths: list[int]) -> None:
        self.payload[name] = entries
        self.lengths[name] = lengths
        self.weights[name] = _weight(name, _length_of_list(lengths))

    def leave_out(self, name: str, count: int) -> None:
        """Say how many are missing."""
        self.put("left_out", self.payload["left_out"] | {name: count})

    def halve(self, name: str) -> None:
        """Halve a list again and again until the payload fits, or one entry is left."""
        entries, lengths = self.payload[name], self.lengths[name]
        # What is said in `left_out` counts too.
        over = self.over + len(f',"{name}":{len(entries)}')
        keep = len(entries)
        while keep > 1 and over > 0:
            half = keep // 2
            over -= sum(lengths[half:keep]) + keep - half
            keep = half
        if keep < len(entries):
            self.leave_out(name, len(entries) - keep)
            self._put_list(name, entries[:keep], lengths[:keep])


def within_size(load: Load) -> dict[str, Any]:
    """Leave out, least needed first, until it fits; `left_out` counts what is missing.

    The steps' own figures go last, and the first of them never.
    """
    for lighten in _LIGHTER:
        if load.over <= 0:
            break
        lighten(load)
    return load.payload


def _halved(name: str) -> Callable[[Load], None]:
    return lambda load: load.halve(name)


def _without_reminders(load: Load) -> None:
    """The reminders stand in the text too."""
    if load.payload["reminders"]:
        load.leave_out("reminders", len(load.payload["reminders"]))
        load.put("reminders", [])


def _without_alternatives(load: Load) -> None:
    gone = 0
    taxi = []
    for leg in load.payload["taxi"]:
        holds = []
        for hold in leg["holds"]:
            positions = hold["positions"]
            gone += len(positions["alternatives"]) + len(positions["notes"])
            holds.append(hold | {"positions": positions | {"alternatives": [], "notes": []}})
        taxi.append(leg | {"holds": holds})
    load.put("taxi", taxi)
    if gone:
        load.leave_out("alternatives", gone)


def _shorter_raw(load: Load) -> None:
    payload = load.payload
    load.put("reports", [r | {"raw": visible(r["raw"], 500)} for r in payload["reports"]])
    if payload["raw_report"]:
        load.put("raw_report", visible(payload["raw_report"], 500))


def _shorter_text(load: Load) -> None:
    load.put("text", _cut(load.payload["text"], 4_000))


def _shortest_text(load: Load) -> None:
    load.put("text", _cut(load.payload["text"], 1_000))


def _cut(text: str, limit: int) -> str:
    """Cut after a whole line, and say so."""
    if len(text) <= limit:
        return text
    return f"{text[:limit].rpartition(chr(10))[0]}\n(cut here; the mail has all of it)\n"


_LIGHTER: Final[tuple[Callable[[Load], None], ...]] = (
    _without_reminders,
    _without_alternatives,
    _shorter_raw,
    _halved("reports"),
    _halved("parked"),
    _halved("taxi"),
    _shorter_text,
    _halved("open"),
    _shortest_text,
    _halved("references"),
    _halved("replaces"),
    _halved("steps"),
)
