"""A page as JSON values: the same facts as for people, in knots and UTC."""

from __future__ import annotations

from typing import Any

from windwatch.board.json_pages import SHAPE_OF


def as_json(page: Any) -> dict[str, Any]:
    """A page's values for machines.

    Parameters
    ----------
    page : one of the pages of `windwatch.board.page_values`

    Raises
    ------
    KeyError
        If it is none of them.
    """
    return SHAPE_OF[type(page)].of(page)
