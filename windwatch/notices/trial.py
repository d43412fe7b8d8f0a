"""A test notice: proof that a channel works."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, Final

from windwatch.airmanship import cautions
from windwatch.episodes.values import computed_id
from windwatch.notices.build import clean_page
from windwatch.notices.html import as_html
from windwatch.notices.page import Page, Row, Section
from windwatch.notices.payload import FORMAT, moment
from windwatch.notices.subject import one_line
from windwatch.notices.text import as_text
from windwatch.notices.values import Content
from windwatch.notices.words import Times

# Reliability, section 3: a test is valid for ten minutes.
VALID: Final = timedelta(minutes=10)


def compose_test(contact_name: str, now: datetime) -> Content:
    """Make a test notice, which says of itself that it tells nothing about the wind.

    Parameters
    ----------
    contact_name : str
        As configured.
    now : datetime
        Aware; shown in UTC, for a contact has no field.
    """
    times = Times(None, now)
    until = now + VALID
    notice_id = computed_id("test", contact_name, now.astimezone(UTC).isoformat())
    page = clean_page(
        Page(
            place="windwatch",
            mark=None,
            headline=f"Test: windwatch can reach {contact_name}",
            big="",
            times=f"sent {times.dated(now)}; valid until {times.dated(until)}",
            sections=(
                Section(
                    "do",
                    "What to do",
                    (
                        Row("Nothing: this is a test that somebody asked for."),
                        Row("It says nothing about the wind at any airfield."),
                    ),
                ),
                Section("caution", "Caution", (Row(cautions.CAUTION),)),
            ),
            footer=(f"To {contact_name}", f"Notice {notice_id}"),
        )
    )
    subject = one_line(f"windwatch {times.clock(now)}: test for {contact_name}, nothing to do")
    text = as_text(page)
    payload: dict[str, Any] = {
        "format": FORMAT,
        "id": notice_id,
        "kind": "test",
        "contact": contact_name,
        "airfield": "",
        "at": moment(now),
        "valid_until": moment(until),
        "urgent": False,
        "subject": subject,
        "headline": page.headline,
        "caution": cautions.CAUTION,
        "references": [],
        "replaces": [],
        "steps": [],
        "text": text,
    }
    return Content(subject, text, as_html(page), payload)
