"""One report decoded as it came: the station XLKS on 22 September 2026."""

from datetime import UTC, datetime

from windwatch.reports.decode import decode_report

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)
DAY = "XLKS 221953Z"


def decode(text, **known):
    return decode_report(text, NOW, **known)


def at(hour, minute, day=22):
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)
