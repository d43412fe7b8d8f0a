"""Notices about windwatch itself, for whoever keeps it running, and for whom it concerns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from windwatch.airmanship import cautions
from windwatch.episodes.values import computed_id
from windwatch.notices.build import clean_page
from windwatch.notices.html import as_html
from windwatch.notices.page import Page, Row, Section
from windwatch.notices.payload import FORMAT, moment
from windwatch.notices.subject import one_line
from windwatch.notices.text import as_text
from windwatch.notices.values import Content, Notice
from windwatch.notices.words import Times, first_upper

OPERATOR: Final = "operator"
VALID: Final = timedelta(hours=6)
# A reason may quote what a server said.
_REASON: Final = 300


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that is wrong with windwatch, or with what it needs.

    Attributes
    ----------
    key : str
        Names it: the same trouble has the same key.
    headline : str
        What is wrong, in one sentence without its full stop.
    means : str
        What it means for the warnings.
    mend : str
        What a person can do.
    reason : str
        What was said or found, cut.
    """

    key: str
    headline: str
    means: str
    mend: str
    reason: str = ""


def operator_notice(
    trouble: Trouble,
    contact: str,
    since: datetime,
    now: datetime,
    *,
    over: bool = False,
    references: tuple[str, ...] = (),
) -> tuple[Notice, Content]:
    """Tell a trouble, or its end, in words.

    Parameters
    ----------
    since : datetime
        When it was found.
    over : bool
        Tell that it is over.
    references : tuple of str
        The notice that told of it.
    """
    state = "over" if over else "begun"
    notice = Notice(
        id=computed_id(OPERATOR, contact, trouble.key, state, since.isoformat(), now.isoformat()),
        contact=contact,
        airfield="",
        at=now,
        kind=OPERATOR,
        steps=(),
        urgent=True,
        valid_until=now + VALID,
        references=references,
    )
    return notice, _content(trouble, notice, since, over=over)


def _content(trouble: Trouble, notice: Notice, since: datetime, *, over: bool) -> Content:
    times = Times(None, notice.at)
    headline = f"Over: {trouble.headline}" if over else first_upper(trouble.headline)
    if over:
        rows = [Row("Nothing: windwatch works again as it should.")]
    else:
        rows = [Row(trouble.mend), Row(trouble.means)]
    why = [Row(f"Since {times.dated(since)}.")]
    if trouble.reason:
        why.append(Row(trouble.reason[:_REASON], head="What was said or found"))
    page = clean_page(
        Page(
            place="windwatch itself",
            mark=None,
            headline=headline,
            big="",
            times=f"told {times.dated(notice.at)}; valid until {times.dated(notice.valid_until)}",
            sections=(
                Section("do", "What to do", tuple(rows)),
                Section("why", "Why", tuple(why)),
                Section("caution", "Caution", (Row(cautions.CAUTION),)),
            ),
            footer=(f"To {notice.contact}, about windwatch itself", f"Notice {notice.id}"),
        )
    )
    subject = one_line(f"windwatch {times.clock(notice.at)}: {headline}")
    text = as_text(page)
    payload: dict[str, Any] = {
        "format": FORMAT,
        "id": notice.id,
        "kind": OPERATOR,
        "contact": notice.contact,
        "airfield": "",
        "at": moment(notice.at),
        "valid_until": moment(notice.valid_until),
        "urgent": True,
        "subject": subject,
        "headline": page.headline,
        "caution": cautions.CAUTION,
        "references": list(notice.references),
        "replaces": [],
        "steps": [],
        "trouble": {
            "key": trouble.key,
            "headline": trouble.headline,
            "since": moment(since),
            "over": over,
        },
        "text": text,
    }
    return Content(subject, text, as_html(page), payload)
