"""What an editor is told about the file."""

import copy
import json
from pathlib import Path

import pytest

from windwatch.settings.lines import lines_of
from windwatch.settings.places import field_at
from windwatch.settings.schema import schema
from windwatch.settings.schema_base import Table

TABLES = {"whole": schema(), **schema()["$defs"]}
FIELDS = [
    (table, key, field)
    for table, described in TABLES.items()
    for key, field in described["properties"].items()
]


@pytest.mark.parametrize(("table", "key", "field"), FIELDS, ids=lambda part: str(part)[:30])
def test_every_key_is_described_with_an_example(table, key, field):
    assert len(field["description"].split()) >= 2 or key == "aircraft"
    assert field["description"].endswith(".")
    assert field["examples"]


def test_every_table_is_described_and_closed():
    for described in TABLES.values():
        assert described["additionalProperties"] is False
        assert described["description"]


def test_the_schema_is_plain_json():
    assert json.loads(json.dumps(schema())) == schema()


def _models(model=Table):
    return [found for each in model.__subclasses__() for found in (each, *_models(each))]


def _keys(model):
    return {info.alias or name: info for name, info in model.model_fields.items()}


EXAMPLES = [
    pytest.param(model, key, example, id=f"{model.__name__}.{key}")
    for model in _models()
    for key, info in _keys(model).items()
    for example in info.examples
]


@pytest.mark.parametrize(("model", "key", "example"), EXAMPLES)
def test_the_example_of_every_key_is_right(model, key, example):
    # Examples also stand for what was refused, so that the rest of a file can be judged.
    needed = {name: info.examples[0] for name, info in _keys(model).items() if info.is_required()}
    model.model_validate(copy.deepcopy({**needed, key: example}))


def test_every_key_of_our_own_configurations_is_found_in_the_schema(root: Path):
    for path in sorted((root / "config").glob("*.toml")):
        for loc in lines_of(path.read_text(encoding="utf-8")):
            assert field_at(loc) is not None, (path.name, loc)
