"""A teaching sheet as one HTML file for print: nothing is loaded, nothing runs."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from windwatch.airmanship.control_reasons import Reason
from windwatch.airmanship.control_words import in_words, wind_in_words
from windwatch.drawings.control_card import control_card
from windwatch.drawings.svg import Drawing
from windwatch.drawings.theme import PRINT
from windwatch.drawings.wall_card import wall_card
from windwatch.drawings.wind_words import degrees
from windwatch.teaching import words
from windwatch.teaching.values import Question, Sheet


class Why(NamedTuple):
    """A reason with the number of its source in the list at the end."""

    part: str
    text: str
    source: int


class Other(NamedTuple):
    """Alternatives in words that have the same reasons, with what these add."""

    said: tuple[str, ...]
    whys: tuple[Why, ...]


class Answer(NamedTuple):
    """All that one answer shows beside its drawing."""

    number: int
    question: Question
    said: str
    whys: tuple[Why, ...]
    others: tuple[Other, ...]
    notes: tuple[str, ...]


class Remark(NamedTuple):
    """A note that holds for several answers."""

    numbers: tuple[int, ...]
    text: str


def sheet_html(sheet: Sheet) -> str:
    """The sheet as a page: questions, then answers, each beginning on paper of its own.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    str
        HTML with its style and drawings inside; no script, no address is called.
    """
    sources: dict[str, int] = {}
    answers = tuple(
        _answer(number, question, sources) for number, question in enumerate(sheet.questions, 1)
    )
    return (
        _environment()
        .get_template("sheet.html")
        .render(
            sheet=sheet,
            answers=answers,
            shared=_remarks(answers),
            opinions=_opinions(answers),
            sources=sources,
        )
    )


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("windwatch.teaching"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals |= {"say": words, "card": card, "wall": wall}
    return environment


def card(question: Question, *, answers: bool) -> Markup:
    """The drawing of one question, with or without its answer."""
    name = words.first_upper(question.name)
    if question.heading_true is None and question.heading_magnetic is not None:
        name = f"{name}, heading {degrees(question.heading_magnetic)}° magnetic"
    return _shown(
        control_card(
            question.positions,
            question.craft,
            PRINT,
            name,
            question.heading_true,
            answers=answers,
        )
    )


def wall(sheet: Sheet) -> Markup:
    """All eight answers on one sheet."""
    return _shown(wall_card(sheet.wall, sheet.questions[0].craft, PRINT))


def _shown(drawing: Drawing) -> Markup:
    return Markup(drawing.svg)  # noqa: S704 - `drawings.svg` escapes what people or feeds wrote


def _answer(number: int, question: Question, sources: dict[str, int]) -> Answer:
    positions = question.positions
    return Answer(
        number,
        question,
        in_words(positions),
        _whys(question.reasons(), sources),
        _others(question, sources),
        words.own_notes(positions),
    )


def _others(question: Question, sources: dict[str, int]) -> tuple[Other, ...]:
    """Alternatives, those with the same reasons together."""
    found: dict[tuple[Reason, ...], list[str]] = {}
    for other in question.positions.alternatives:
        said = f"{wind_in_words(other.relative_wind)}: {in_words(other)}"
        found.setdefault(question.reasons_of(other), []).append(said)
    return tuple(Other(tuple(said), _whys(added, sources)) for added, said in found.items())


def _whys(found: Iterable[Reason], sources: dict[str, int]) -> tuple[Why, ...]:
    """Reasons with the numbers of their sources; a new source gets the next number."""
    return tuple(
        Why(each.part, each.text, sources.setdefault(each.source, len(sources) + 1))
        for each in found
    )


def _remarks(answers: Iterable[Answer]) -> tuple[Remark, ...]:
    """Notes that more than one answer has: told once, with their numbers."""
    found = _gathered((answer.number, note) for answer in answers for note in answer.notes)
    return tuple(each for each in found if len(each.numbers) > 1)


def _opinions(answers: Iterable[Answer]) -> tuple[Remark, ...]:
    """Where publications differ, each with the answers that it is about."""
    return _gathered(
        (answer.number, note)
        for answer in answers
        for note in words.opinions(answer.question.positions)
    )


def _gathered(notes: Iterable[tuple[int, str]]) -> tuple[Remark, ...]:
    numbers: dict[str, list[int]] = {}
    for number, note in notes:
        numbers.setdefault(note, []).append(number)
    return tuple(Remark(tuple(which), note) for note, which in numbers.items())
