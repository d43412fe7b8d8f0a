"""The OpenAPI document of the JSON answers, from the same table that makes them."""

from __future__ import annotations

from functools import cache
from typing import Any

from windwatch import __version__
from windwatch.airmanship import cautions
from windwatch.board.json_pages import ADDRESSES, Address
from windwatch.board.json_shapes import shapes_in

VERSION = "3.1.0"
ABOUT = (
    "What the board shows, to be read only. Speeds are in knots, times in ISO 8601 and UTC. A "
    f"level that is `unknown` is never within. {cautions.CAUTION}"
)


@cache
def openapi() -> dict[str, Any]:
    """The document; to be read only."""
    return {
        "openapi": VERSION,
        "info": {"title": "windwatch board", "version": __version__, "description": ABOUT},
        "paths": {address.path: {"get": _answer(address)} for address in ADDRESSES},
        "components": {
            "schemas": {
                shape.name: shape.schema
                for shape in shapes_in(address.shape for address in ADDRESSES)
            }
        },
    }


def _answer(address: Address) -> dict[str, Any]:
    refused = {
        "401": {"description": "A login is asked for, and there is none."},
        "503": {"description": "The store cannot be read: nothing is known."},
    }
    if address.parameters:
        refused["404"] = {"description": "There is none of that name."}
    content = {"schema": {"$ref": f"#/components/schemas/{address.shape.name}"}}
    return {
        "operationId": address.name,
        "summary": address.shape.about,
        "parameters": [
            {
                "name": name,
                "in": "path",
                "required": True,
                "description": about,
                "schema": {"type": "string"},
            }
            for name, about in address.parameters
        ],
        "responses": {
            "200": {"description": address.shape.about, "content": {"application/json": content}},
            **refused,
        },
    }
