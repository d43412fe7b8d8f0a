"""Log lines as JSON objects: an event's name, and its fields. No addresses, no secrets."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Final, TextIO

# What every log record has; whatever else a record carries is a field of the event.
_ORDINARY: Final = frozenset(logging.makeLogRecord({}).__dict__) | {"message", "asctime"}


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Write a record: time, level, event, fields, and where it failed."""
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        line |= {key: value for key, value in record.__dict__.items() if key not in _ORDINARY}
        if record.exc_info:
            line["failure"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=True, default=str)


def log_to(stream: TextIO, level: int) -> None:
    """Send windwatch's log to a stream; a failing log never stops the watch."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    ours = logging.getLogger("windwatch")
    ours.handlers[:] = [handler]
    ours.setLevel(level)
    ours.propagate = False
    logging.raiseExceptions = False
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
