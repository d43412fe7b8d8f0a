"""Each promise, fault and guard of the reliability document has a test that bears its name."""

import ast
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parent
PROMISES = set(range(1, 23))
FAULTS = {
    f"F{number:02d}"
    for first, last in ((1, 27), (30, 38), (40, 46), (50, 54), (60, 66), (70, 79))
    for number in range(first, last + 1)
}


def borne(mark: str) -> Iterator[object]:
    """What all tests say they show, from their decorators and `pytestmark`."""
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == f"pytest.mark.{mark}":
                yield from (ast.literal_eval(argument) for argument in node.args)


def test_every_promise_has_a_test_that_bears_its_number():
    assert set(borne("promise")) == PROMISES


def test_every_row_of_the_fault_table_has_a_test_that_plays_it():
    assert set(borne("fault")) == FAULTS
