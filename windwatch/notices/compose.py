"""A notice in words: subject, text, HTML and payload, all from one page of facts."""

from __future__ import annotations

from windwatch.fleet import Fleet
from windwatch.notices.build import build_page, clean_page
from windwatch.notices.html import as_html
from windwatch.notices.payload import as_payload
from windwatch.notices.scene import set_scene
from windwatch.notices.subject import subject_line
from windwatch.notices.text import as_text
from windwatch.notices.values import Content, Notice, Situation


def compose(notice: Notice, situation: Situation, fleet: Fleet) -> Content:
    """Put a notice into words.

    The same input gives the same bytes. A failure is raised, never hidden: the watch then sends
    `windwatch.notices.plain.compose_plain`.

    Parameters
    ----------
    notice : Notice
        The steps to tell, for one contact.
    situation : Situation
        How things stand at its airfield now.
    fleet : Fleet
        Everything watched; a field, aircraft or contact that is configured no longer may be
        missing from it.

    Returns
    -------
    Content
    """
    scene = set_scene(notice, situation, fleet)
    page = clean_page(build_page(scene))
    subject = subject_line(scene)
    text = as_text(page)
    return Content(subject, text, as_html(page), as_payload(scene, page, subject, text))
