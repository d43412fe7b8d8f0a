"""Every page in JSON is what the published schema says, and bears knots and UTC alone."""

import json
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.board import samples
from tests.board.played import FRONT, Played, played
from windwatch.board import view
from windwatch.board.as_json import as_json
from windwatch.board.json_pages import ADDRESSES, SHAPE_OF
from windwatch.board.openapi import openapi


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    with played(tmp_path_factory.mktemp("json"), FRONT) as day:
        yield day


def made(day: Played, now: datetime) -> list[Any]:
    snapshot = day.snapshot(now)
    field = view.field_page(snapshot, "XLKS", now, "km/h")
    return [
        field,
        view.overview(snapshot, now),
        view.ramp_card(snapshot, "XLKS", "X-LARK", now),
        view.episode_page(snapshot, day.reading.episode(field.episodes[0].id), now),
        view.notices_page(snapshot, day.reading.notices(now), now),
        view.notice_page(snapshot, day.reading.notice(field.notices[0].id), now),
        view.about_page(snapshot, now),
    ]


def faults(page: Any) -> list[str]:
    document = openapi()
    name = SHAPE_OF[type(page)].name
    schema = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    answer = json.loads(json.dumps(as_json(page), allow_nan=False))
    found = Draft202012Validator(schema).iter_errors(answer)
    return [f"{error.json_path}: {error.message}" for error in found]


@pytest.mark.parametrize("name", samples.PAGES)
def test_every_sample_keeps_to_its_schema(name: str) -> None:
    assert faults(samples.PAGES[name]) == []


def test_every_page_of_a_day_keeps_to_its_schema(front: Played) -> None:
    for page in made(front, FRONT):
        assert faults(page) == []
    # Long after the watch fell silent, too.
    for page in made(front, FRONT + timedelta(hours=2)):
        assert faults(page) == []


def test_a_schema_notices_what_is_missing_or_new() -> None:
    schema = openapi()["components"]["schemas"]["Banner"]
    good = {"kind": "watch", "headline": "", "text": "", "since": None, "grave": True}
    check = Draft202012Validator(schema)
    assert check.is_valid(good)
    assert not check.is_valid({key: value for key, value in good.items() if key != "grave"})
    assert not check.is_valid({**good, "colour": "red"})


def times_in(value: Any, key: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for name, one in value.items():
            yield from times_in(one, name)
    elif isinstance(value, list):
        for one in value:
            yield from times_in(one, key)
    elif isinstance(value, str) and (key in ("at", "since", "valid_until") or key.endswith("_at")):
        yield value


def test_times_are_iso_and_utc(front: Played) -> None:
    found = [each for page in made(front, FRONT) for each in times_in(as_json(page))]
    assert len(found) > 50
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", each) for each in found)
    assert "2026-09-22T19:10:00Z" in found


def test_levels_and_figures_can_be_read_by_a_machine(front: Played) -> None:
    answer = as_json(view.field_page(front.snapshot(FRONT), "XLKS", FRONT))
    assert answer["airfield"] == "XLKS"
    assert answer["what_to_do"]["level"] == answer["what_to_do"]["last_known_level"] == "over"
    assert answer["wind"]["gust_kt"] == 41
    student = answer["subjects"][0]
    assert (student["aircraft"], student["pilot_limits"]) == ("X-LARK", "student solo")
    deciding = student["ends"][0]["deciding"]
    assert (deciding["figure_kt"], deciding["limit_kt"], deciding["margin_kt"]) == (19.6, 7, -12.6)
    hold = answer["taxi_legs"][0]["holds"][0]
    assert hold["positions"]["yoke"] == {"roll": "left", "pitch": "forward"}
    late = FRONT + timedelta(hours=2)
    answer = as_json(view.field_page(front.snapshot(FRONT), "XLKS", late))
    assert answer["what_to_do"]["level"] == "unknown"
    assert answer["what_to_do"]["last_known_level"] == "over"
    assert not answer["wind_known"]
    assert not answer["watch"]["runs"]


def test_every_page_has_a_shape_and_every_shape_an_address() -> None:
    names = {shape.name for shape in SHAPE_OF.values()}
    assert names == {address.shape.name for address in ADDRESSES}
    with pytest.raises(KeyError):
        as_json("no page")


def test_no_path_of_this_machine_is_told(front: Played) -> None:
    folder = str(Path(front.settings.store.path or "").parent)
    for page in made(front, FRONT):
        assert folder not in json.dumps(as_json(page))
