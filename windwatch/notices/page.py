"""A notice as sections and rows: what text and HTML both show, so that neither lacks a fact."""

from __future__ import annotations

from typing import NamedTuple

from windwatch.assessment.values import Mark


class Row(NamedTuple):
    """One line of a section.

    Attributes
    ----------
    head : str
        What it is about; '' for a plain sentence.
    text : str
    mark : Mark or None
        The level shown beside it.
    details : tuple of str
        Small print that belongs to it.
    verbatim : bool
        Shown exactly, never wrapped: a raw report.
    """

    text: str
    head: str = ""
    mark: Mark | None = None
    details: tuple[str, ...] = ()
    verbatim: bool = False

    @property
    def line(self) -> str:
        """Head and text on one line."""
        return f"{self.head}: {self.text}" if self.head else self.text


class Section(NamedTuple):
    """A titled list of rows."""

    name: str
    title: str
    rows: tuple[Row, ...]


class Page(NamedTuple):
    """A notice, in the order of reading.

    Attributes
    ----------
    place : str
        The airfield, for the eyebrow above the headline.
    mark : Mark or None
        Level of the leading step; None for a test.
    headline : str
        What it is: ``Over: tie-down X-WREN 41 kt > 22 kt, and 10 more``.
    big : str
        The deciding figure, the largest thing to see; '' where there is none.
    times : str
        Observation time and validity.
    link : str
        Where its contact can take note of it; '' where nowhere.
    """

    place: str
    mark: Mark | None
    headline: str
    big: str
    times: str
    sections: tuple[Section, ...]
    footer: tuple[str, ...]
    link: str = ""

    @property
    def first_line(self) -> str:
        """Level, subject, figure against limit, observation time and validity."""
        return f"{self.headline}; {self.times}"
