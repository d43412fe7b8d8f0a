"""What the tests of published worked examples share: the row, and the file it came from."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

import pytest


class Example(NamedTuple):
    """One worked example, as published."""

    id: str
    inputs: dict[str, Any]
    expected: Any
    tolerance: Any
    source: str
    seen: str


def those(examples: Iterable[Example], *prefixes: str) -> list[Any]:
    """Rows whose name begins so, as parameters that show their source where one fails."""
    return [
        pytest.param(example, id=f"{example.id} ({example.source})")
        for example in examples
        if example.id.startswith(prefixes)
    ]


def published(reference: Path, kind: str) -> list[tuple[Any, ...]]:
    """Every example of a kind as it stands in the file of published facts."""
    examples = json.loads((reference / "worked_examples.json").read_text("utf-8"))["examples"]
    return [
        (
            example["id"],
            example["inputs"],
            example["expected"],
            example["tolerance"],
            example["source"],
            example["seen_or_memory"],
        )
        for example in examples
        if example["kind"] == kind
    ]
