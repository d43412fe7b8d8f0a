"""What all tests share: where the recorded reports are, and no skipping in CI."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def missing(part: str) -> None:
    """Skip for a missing part of the machine; with WINDWATCH_NO_SKIP=1 fail instead."""
    if os.environ.get("WINDWATCH_NO_SKIP") == "1":
        pytest.fail(f"{part} is missing, and WINDWATCH_NO_SKIP=1 allows no skip")
    pytest.skip(f"{part} is missing")


@pytest.fixture(scope="session")
def reference() -> Path:
    """Folder of the published facts and recorded reports."""
    folder = Path(os.environ.get("WINDWATCH_REFERENCE", ROOT / ".." / "shared" / "reference"))
    if not folder.is_dir():
        missing(f"the folder of recorded reports (WINDWATCH_REFERENCE, {folder})")
    return folder.resolve()


@pytest.fixture(scope="session")
def root() -> Path:
    """Top of the project."""
    return ROOT
