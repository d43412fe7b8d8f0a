"""Each promise, fault and guard of the reliability document has a test that bears its name."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parent
PROMISES = set(range(1, 23))
FAULTS = {
    f"F{number:02d}"
    for first, last in ((1, 27), (30, 38), (40, 46), (50, 54), (60, 66), (70, 79))
    for number in range(first, last + 1)
}

# One name for each line of the list, where a line names several things one for each.
GUARDS = {
    "addresses",
    "mail",
    "feed text",
    "parsers",
    "sizes",
    "secrets",
    "config",
    "files",
    "process",
    "sql",
    "deserialising",
    "supply chain",
    "denial by alert",
    "logs",
    "words",
    "board",
    "acknowledge links",
}


@cache
def tree(path: Path) -> ast.AST:
    return ast.parse(path.read_text(encoding="utf-8"))


def borne(mark: str) -> Iterator[object]:
    """What all tests say they show, from their decorators and `pytestmark`."""
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == f"pytest.mark.{mark}":
                yield from (ast.literal_eval(argument) for argument in node.args)


def test_every_promise_has_a_test_that_bears_its_number():
    assert set(borne("promise")) == PROMISES


def test_every_row_of_the_fault_table_has_a_test_that_plays_it():
    assert set(borne("fault")) == FAULTS


def test_every_line_of_the_security_list_has_a_test_that_holds_it():
    assert set(borne("guard")) == GUARDS
