"""A real headless Chromium, steered by playwright: Debian's own, never one that is downloaded."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

from tests.conftest import missing

# Nothing that would call home, and no part that a machine without screen or sound lacks.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser, with a new folder of its own."""
    found = shutil.which("chromium")
    if found is None:
        missing("Debian's chromium")
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415 - few tests need it
    except ImportError:
        missing("playwright")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Heard:
    """What a page complained of, and whom it asked."""

    home: str
    complaints: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)

    def listen(self, page: Any) -> None:
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", self._dialog)
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        # A page that is not there is one, and says so.
        if message.type in {"error", "warning"} and "status of 404" not in message.text:
            self.complaints.append(message.text)

    def _dialog(self, dialog: Any) -> None:
        self.complaints.append(f"a dialog: {dialog.message}")
        dialog.dismiss()

    def _request(self, request: Any) -> None:
        if not request.url.startswith((self.home + "/", "data:")):
            self.elsewhere.append(request.url)

    def nothing(self) -> None:
        """Nothing was complained of, and nobody else asked."""
        assert self.complaints == []
        assert self.elsewhere == []


def axe_script() -> str:
    """The checker of accessibility that the package brings along."""
    try:
        return files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
    except ImportError:
        missing("axe-playwright-python")
        raise


def violations(page: Any, script: str, *rules: str) -> list[str]:
    """What axe finds, each with where; by all its rules, or by some."""
    page.evaluate(script)
    asked: dict[str, Any] = {"resultTypes": ["violations"]}
    if rules:
        asked["runOnly"] = {"type": "rule", "values": list(rules)}
    found = page.evaluate("asked => axe.run(document, asked)", asked)
    return [
        f"{each['id']}: {node['target']} {node['failureSummary']}"
        for each in found["violations"]
        for node in each["nodes"]
    ]


def sheets(pdf: bytes) -> int:
    """How many pages a printed document has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))
