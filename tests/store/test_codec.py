"""What is written into the store comes back as it was."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.servers.samples import a_content, a_notice, a_step
from windwatch.episodes.values import Step
from windwatch.errors import StoreError
from windwatch.notices.values import Content, Notice
from windwatch.store.codec import coder, from_json, to_json
from windwatch.wind import CALM, MISSING, VARIABLE, DegreesTrue, Knots, Sector, Steady, Wind


def test_a_step_comes_back_as_it_was():
    step = a_step()
    assert from_json(to_json(step, Step), Step) == step


def test_a_notice_comes_back_as_it_was():
    notice = a_notice(steps=(a_step(1), a_step(2)), references=("a", "b"))
    assert from_json(to_json(notice, Notice), Notice) == notice


def test_content_comes_back_as_it_was():
    assert from_json(to_json(a_content(), Content), Content) == a_content()


speeds = st.floats(0, 200, allow_nan=False).map(Knots)
degrees = st.floats(1, 360, allow_nan=False).map(DegreesTrue)


@given(
    st.builds(
        Wind,
        direction=st.one_of(st.sampled_from([CALM, VARIABLE, MISSING]), st.builds(Steady, degrees)),
        speed=speeds,
        gust=st.none() | speeds,
        sector=st.none() | st.builds(Sector, degrees, degrees),
    )
)
def test_calm_variable_and_missing_stay_three_facts(wind):
    found = from_json(to_json(wind, Wind), Wind)
    assert found == wind
    assert type(found.direction) is type(wind.direction)


class Key(NamedTuple):
    airfield: str
    quantity: str


@dataclass(frozen=True)
class Remembered:
    told: frozenset[Key]
    worst: Mapping[Key, float]
    by_name: Mapping[str, tuple[int, ...]]
    wait: timedelta | None = None
    both: tuple[int, str] = (1, "a")


def test_sets_and_mappings_with_named_keys_come_back():
    value = Remembered(
        frozenset({Key("XLKS", "wind"), Key("XBRN", "wind")}),
        MappingProxyType({Key("XLKS", "wind"): 41.5}),
        {"a": (1, 2)},
        timedelta(minutes=75),
    )
    assert from_json(to_json(value, Remembered), Remembered) == value


def test_the_same_set_gives_the_same_text():
    keys = [Key("XLKS", str(n)) for n in range(20)]
    one = Remembered(frozenset(keys), {}, {})
    other = Remembered(frozenset(reversed(keys)), {}, {})
    assert to_json(one, Remembered) == to_json(other, Remembered)


@dataclass(frozen=True)
class Later:
    name: str
    added: int = 7


def test_a_text_of_an_earlier_version_takes_defaults_and_one_of_a_later_is_read():
    assert from_json('{"name":"x"}', Later) == Later("x", 7)
    assert from_json('{"name":"x","added":1,"unknown":true}', Later) == Later("x", 1)


@pytest.mark.parametrize("text", ["", "[]", '{"added":1}', "null", "{", '{"name":'])
def test_a_text_that_holds_something_else_is_named(text):
    with pytest.raises(StoreError, match="no Later"):
        from_json(text, Later)


def test_a_moment_without_a_zone_is_refused_and_with_one_is_utc():
    assert coder(datetime).read("2026-09-22T15:09:00-04:00") == datetime(
        2026, 9, 22, 19, 9, tzinfo=UTC
    )
    with pytest.raises(ValueError, match="time zone"):
        coder(datetime).read("2026-09-22T15:09:00")


def test_a_type_without_a_written_form_is_refused_at_once():
    class Strange:
        pass

    kind: Any = Strange
    with pytest.raises(TypeError, match="no written form"):
        to_json(Strange(), kind)
