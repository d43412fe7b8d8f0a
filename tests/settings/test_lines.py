"""The line of every key, however the file is laid out."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from windwatch.settings.lines import line_of, lines_of

EVERYTHING = '''\
# [not.a.table]
top = 1   # a = 2
"quoted key" = "a = 1 # no comment"
'literal.key' = 'C:\\new'
dotted.key."third part" = [1, 2]

[table]
date = 2026-09-22 10:53:00
text = """
[inside] = 3
key = \\""" still inside
end""""
path = \'\'\'
[[also.inside]]\'\'\'\'
list = [
  "a", # ] not the end
  { x = 1, y = [
    true,
  ] },
]
after = { a.b = "}", c = {} }

[[many]]
name = "first"
  [[many.inner]]
  x = 1
  [[many.inner]]
  x = 2
  [many.inner.sub]
  y = 3
[[many]]
name = "second"
  [[many.inner]]
  x = 4
[ spaced . "out" ]
z = 1
'''

EXPECTED = {
    ("top",): 2,
    ("quoted key",): 3,
    ("literal.key",): 4,
    ("dotted", "key", "third part"): 5,
    ("table",): 7,
    ("table", "date"): 8,
    ("table", "text"): 9,
    ("table", "path"): 13,
    ("table", "list"): 15,
    ("table", "list", 0): 16,
    ("table", "list", 1): 17,
    ("table", "list", 1, "x"): 17,
    ("table", "list", 1, "y", 0): 18,
    ("table", "after", "a", "b"): 21,
    ("table", "after", "c"): 21,
    ("many", 0): 23,
    ("many", 0, "inner", 0, "x"): 26,
    ("many", 0, "inner", 1): 27,
    ("many", 0, "inner", 1, "x"): 28,
    ("many", 0, "inner", 1, "sub", "y"): 30,
    ("many", 1, "name"): 32,
    ("many", 1, "inner", 0, "x"): 34,
    ("spaced", "out", "z"): 36,
}


def places(tree, loc=()):
    """Every place in a parsed document."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in items:
        yield (*loc, key)
        if isinstance(value, dict | list):
            yield from places(value, (*loc, key))


@pytest.mark.parametrize(("loc", "line"), EXPECTED.items(), ids=str)
def test_line_of_a_key(loc, line):
    assert lines_of(EVERYTHING)[loc] == line


def test_every_place_and_no_other_has_a_line():
    assert set(lines_of(EVERYTHING)) == set(places(tomllib.loads(EVERYTHING)))


@pytest.mark.parametrize("name", ["demo.toml", "larkspur.toml", "minimal.toml"])
def test_every_place_of_our_own_configurations_has_its_line(root: Path, name):
    text = (root / "config" / name).read_text(encoding="utf-8")
    lines = lines_of(text)
    assert set(lines) == set(places(tomllib.loads(text)))
    written = text.splitlines()
    for loc, line in lines.items():
        if isinstance(loc[-1], str):
            assert loc[-1] in written[line - 1]


def test_a_missing_key_is_told_at_its_parent():
    lines = lines_of("a = 1\n[b]\nc = { d = 1 }\n")
    assert line_of(lines, ("b", "c", "e", 3)) == 3
    assert line_of(lines, ("b", "x")) == 2
    assert line_of(lines, ("x",)) is None


def test_windows_line_ends_count_once():
    assert lines_of("a = 1\r\n\r\nb = 2\r\n")[("b",)] == 3


KEYS = st.text("abc-_1", min_size=1, max_size=4)
SCALARS = st.one_of(
    st.integers(-9, 9).map(str),
    st.sampled_from(['"x"', "'y'", "true", "07:00:00", '"a\\"]}#"', "'''\n\n'''", '"""\n"q"\n"""']),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[\n" + ", # ]\n".join(items) + "\n]"),
        st.dictionaries(KEYS, inner, max_size=3).map(
            lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
        ),
    ),
    max_leaves=8,
)


@given(st.dictionaries(KEYS, st.dictionaries(KEYS, VALUES, max_size=3), max_size=3), st.booleans())
def test_any_document_has_a_line_for_every_place(tables, many):
    left, right = ("[[", "]]") if many else ("[", "]")
    text = "".join(
        f"{left}{name}{right}\n" + "".join(f"{key} = {value}\n" for key, value in table.items())
        for name, table in tables.items()
    )
    assert set(lines_of(text)) == set(places(tomllib.loads(text)))


@given(st.text("[]{}=\"'\\\n#a.1, ", max_size=40))
def test_a_text_that_is_no_toml_does_no_harm(text):
    assert all(line >= 1 for line in lines_of(text).values())
