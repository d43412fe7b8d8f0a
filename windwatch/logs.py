"""Log lines as JSON objects: an event's name, and its fields. No addresses, no secrets."""

from __future__ import annotations

import json
import logging
import logging.handlers
import os
import stat
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, TextIO

from windwatch.errors import UsageError
from windwatch.upkeep.hiding import Hider

# What every log record has; whatever else a record carries is a field of the event.
_ORDINARY: Final = frozenset(logging.makeLogRecord({}).__dict__) | {"message", "asctime"}
# A log file, and as many older ones beside it: it can fill no disk.
FILE_BYTES: Final = 5_000_000
FILES: Final = 4


class JsonLines(logging.Formatter):
    """One JSON object a line.

    Parameters
    ----------
    hide : iterable of str
        Secrets and addresses: wherever one stands in a line, a traceback too, dots are written.
    """

    def __init__(self, hide: Iterable[str] = ()) -> None:
        super().__init__()
        self._hide = Hider(hide)

    def format(self, record: logging.LogRecord) -> str:
        """Write a record: time, level, event, fields, and where it failed."""
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        line |= {key: value for key, value in record.__dict__.items() if key not in _ORDINARY}
        if record.exc_info:
            line["failure"] = self.formatException(record.exc_info)
        return json.dumps(self._without_secrets(line), ensure_ascii=True, default=str)

    def _without_secrets(self, value: Any) -> Any:
        if value is None or isinstance(value, (bool, int, float)):
            return value
        if isinstance(value, dict):
            return {key: self._without_secrets(each) for key, each in value.items()}
        if isinstance(value, (list, tuple)):
            return [self._without_secrets(each) for each in value]
        return self._hide(str(value))


def log_to(
    stream: TextIO, level: int, *, hide: Iterable[str] = (), file: Path | None = None
) -> None:
    """Send windwatch's log to a stream or a file; a failing log never stops the watch.

    Parameters
    ----------
    hide : iterable of str
        What must never be read in it.
    file : Path or None
        Instead of the stream: a file for its owner's eyes, of bounded size, with older ones
        beside it.

    Raises
    ------
    UsageError
        If the file cannot be written now.
    """
    handler: logging.Handler = logging.StreamHandler(stream)
    if file is not None:
        handler = _file_handler(file)
    handler.setFormatter(JsonLines(hide))
    ours = logging.getLogger("windwatch")
    for old in ours.handlers:
        if isinstance(old, logging.FileHandler):
            old.close()
    ours.handlers[:] = [handler]
    ours.setLevel(level)
    ours.propagate = False
    logging.raiseExceptions = False
    logging.getLogger("apscheduler").setLevel(logging.ERROR)


def hide_now(texts: Iterable[str]) -> None:
    """From now on these must be read in no log: the configuration has changed."""
    for handler in logging.getLogger("windwatch").handlers:
        if isinstance(handler.formatter, JsonLines):
            handler.setFormatter(JsonLines(texts))


class _PrivateFile(logging.handlers.RotatingFileHandler):
    """A log file that only its owner reads, and that is no link to somewhere else."""

    def _open(self) -> Any:
        flags = os.O_CREAT | os.O_WRONLY | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
        descriptor = os.open(self.baseFilename, flags, stat.S_IRUSR | stat.S_IWUSR)
        return os.fdopen(descriptor, "a", encoding="utf-8")


def _file_handler(path: Path) -> logging.Handler:
    try:
        return _PrivateFile(path, maxBytes=FILE_BYTES, backupCount=FILES)
    except OSError as error:
        raise UsageError(
            f"--log-file {path}: it cannot be written: {error.strerror}; name a file in a folder "
            "that is there"
        ) from error
