"""The document that describes the JSON answers."""

import json
from collections.abc import Iterator
from typing import Any

from openapi_spec_validator import OpenAPIV31SpecValidator

from windwatch.board.app import PAGES
from windwatch.board.openapi import openapi


def refs_in(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, one in value.items():
            if key == "$ref":
                yield one
            yield from refs_in(one)
    elif isinstance(value, list):
        for one in value:
            yield from refs_in(one)


def test_the_document_is_openapi_3_1() -> None:
    # Through text, as whoever asks for it gets it.
    document = json.loads(json.dumps(openapi(), allow_nan=False))
    assert document["openapi"].startswith("3.1.")
    assert [str(error) for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_every_reference_leads_to_a_schema_and_every_schema_is_used() -> None:
    document = openapi()
    schemas = document["components"]["schemas"]
    used = {ref.removeprefix("#/components/schemas/") for ref in refs_in(document)}
    assert used == set(schemas)


def test_it_describes_the_addresses_that_there_are() -> None:
    served = {"/api" + page.rstrip("/") for page in PAGES}
    assert set(openapi()["paths"]) == served


def test_everything_is_explained() -> None:
    for name, schema in openapi()["components"]["schemas"].items():
        assert schema["description"], name
        for key, one in schema["properties"].items():
            assert one["description"], f"{name}.{key}"


def test_all_is_only_read() -> None:
    assert all(set(answers) == {"get"} for answers in openapi()["paths"].values())
