"""Issue 2, figure 5: `components` starts within 150 ms of what a bare interpreter takes."""

import os
import subprocess
import sys
import time

import pytest

STARTS = 7
ALLOWED_S = 0.150


def least(*args: str) -> float:
    """Shortest of several cold starts, in seconds: the rest is the machine's noise."""
    environ = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    taken = []
    for _ in range(STARTS):
        began = time.perf_counter()
        subprocess.run([sys.executable, *args], check=True, stdout=subprocess.DEVNULL, env=environ)
        taken.append(time.perf_counter() - began)
    return min(taken)


@pytest.mark.benchmark
def test_components_starts_as_fast_as_promised():
    asked = ("components", "--wind", "22030G40KT 190V250", "--heading-true", "180")
    bare = least("-c", "import json")
    ours = least("-m", "windwatch", *asked)
    assert ours - bare <= ALLOWED_S, f"{ours * 1000:.0f} ms, bare {bare * 1000:.0f} ms"
