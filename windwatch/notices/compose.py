"""A notice in words: subject, text, HTML and payload, all from one page of facts."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from windwatch.fleet import Fleet
from windwatch.notices.advice import Advice, advice_for
from windwatch.notices.build import build_page, clean_page, footer_of
from windwatch.notices.html import html_parts
from windwatch.notices.page import Page
from windwatch.notices.payload import Draft, as_payload, draft
from windwatch.notices.pictures import pictures_for
from windwatch.notices.scene import Scene, set_scene
from windwatch.notices.subject import subject_line
from windwatch.notices.text import as_text
from windwatch.notices.values import Content, Notice, Picture, Situation

log = logging.getLogger(__name__)


def compose(notice: Notice, situation: Situation, fleet: Fleet, link: str = "") -> Content:
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
    link : str
        Where its contact can take note of it, if anywhere: an address of our own making.

    Returns
    -------
    Content
        Its payload is to be read only: several may hold the same lists.
    """
    scene = set_scene(notice, situation, fleet)
    said = _said(_ToAnybody(_without_contact(scene)))
    page = said.page._replace(footer=footer_of(scene), link=link)
    text = as_text(page)
    payload = as_payload(said.draft, notice, text, link)
    return Content.in_parts(said.subject, text, html_parts(page), payload, said.pictures)


class _Said(NamedTuple):
    """What contacts who hear the same are told alike."""

    page: Page
    subject: str
    draft: Draft
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class _ToAnybody:
    """A scene of which contacts who hear the same have the same.

    Compared by all it holds, which is soon done for what is the same object; found by little,
    because to hash hundreds of figures takes as long as to put them into words.
    """

    scene: Scene

    def __hash__(self) -> int:
        notice = self.scene.notice
        return hash((notice.airfield, notice.at, notice.kind, len(notice.steps)))


def _without_contact(scene: Scene) -> Scene:
    """The scene without what stands in the footer and the payload's first lines alone."""
    notice = replace(scene.notice, id="", contact="", references=(), undelivered_by=())
    return replace(scene, notice=notice)


@lru_cache(maxsize=32)
def _said(to_anybody: _ToAnybody) -> _Said:
    scene = to_anybody.scene
    advice = advice_for(scene)
    page = clean_page(build_page(scene, advice))
    subject = subject_line(scene)
    return _Said(page, subject, draft(scene, page, subject, advice), _pictures(scene, advice))


def _pictures(scene: Scene, advice: Advice) -> tuple[Picture, ...]:
    """The pictures, or none: the words are complete without, and do not fail with them."""
    try:
        return pictures_for(scene, advice)
    except Exception:
        log.exception("pictures_failed", extra={"airfield": scene.notice.airfield})
        return ()
