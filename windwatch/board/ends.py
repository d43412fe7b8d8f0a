"""Runway ends in words, each named as it is painted."""

from __future__ import annotations

from collections.abc import Sequence

from windwatch.board import words
from windwatch.notices.words import listed


def by_number(end: str) -> tuple[int, str]:
    """To sort by the painted number: 1 before 10, 9L before 9R.

    Examples
    --------
    >>> sorted(["28", "1", "10", "9R", "9L"], key=by_number)
    ['1', '9L', '9R', '10', '28']
    """
    digits = end.rstrip("LCRlcr")
    return (int(digits), end) if digits.isdecimal() else (99, end)


def remain(ends: Sequence[str]) -> str:
    """What remains, the best first.

    Examples
    --------
    >>> remain(["19"])
    'only 19 remains within limits'
    >>> remain(["19", "10"])
    '19 and 10 remain within limits'
    """
    form = words.ONLY_REMAINS if len(ends) == 1 else words.REMAIN
    return form.format(ends=listed(list(ends)))


def remaining(ends: Sequence[str]) -> str:
    """The same where the level stands beside it: ``only 19``; ``19 and 10``."""
    said = listed(list(ends))
    return words.ONLY.format(ends=said) if len(ends) == 1 else said


def out(ends: Sequence[str]) -> str:
    """What is out: ``not 1, 10 and 28``."""
    return words.NOT_ENDS.format(ends=listed(sorted(ends, key=by_number)))
