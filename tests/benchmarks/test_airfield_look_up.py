"""Issue 5: an airfield is found by any identifier in under 100 ms, in a process just started.

Counted is the processor's time, table unpacked and magnetic model loaded: what the machine does
for others meanwhile is not the program's.
"""

import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.benchmark

STARTS = 5
ALLOWED_S = 0.100
ASKED = """
import time
from datetime import date
from windwatch.airfields.table import find_airfield
began = time.process_time()
find_airfield({identifier!r}, date(2026, 9, 23))
print(time.process_time() - began)
"""


@pytest.mark.parametrize("identifier", ["KJFK", "LHR", "7B9", "00AL", "ZYTX"])
def test_a_cold_look_up_takes_less_than_promised(identifier):
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    taken = [
        float(
            subprocess.run(
                [sys.executable, "-c", ASKED.format(identifier=identifier)],
                check=True,
                capture_output=True,
                text=True,
                env=environ,
            ).stdout
        )
        for _ in range(STARTS)
    ]
    print(f"{identifier}: {min(taken) * 1000:.0f} ms")  # noqa: T201 - the figure is the point
    assert min(taken) <= ALLOWED_S
