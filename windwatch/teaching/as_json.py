"""A teaching sheet as JSON: answers in the shape of `windwatch taxi --json`."""

from __future__ import annotations

from typing import Any

from windwatch.airmanship.cautions import CAUTION
from windwatch.airmanship.control_reasons import SOURCES_ARE_FOR
from windwatch.teaching.values import Question, Sheet


def sheet_json(sheet: Sheet) -> dict[str, Any]:
    """The whole sheet; angles in degrees, speeds in knots."""
    return {
        "about": sheet.about,
        "wind": list(sheet.wind),
        "warnings": list(sheet.warnings),
        "order": sheet.order,
        "questions": [
            _question_json(number, question) for number, question in enumerate(sheet.questions, 1)
        ],
        "sources_are_for": SOURCES_ARE_FOR,
        "caution": CAUTION,
    }


def _question_json(number: int, question: Question) -> dict[str, Any]:
    magnetic = question.heading_magnetic
    return {
        "number": number,
        "name": question.name,
        "aircraft": list(question.whose),
        "gear": question.craft.gear.value,
        "wing": question.craft.wing.value,
        "heading_true_deg": _tenth(question.heading_true),
        "heading_magnetic_deg": _tenth(magnetic),
        "approximate": question.approximate,
        "answer": question.positions.as_json(),
        "reasons": [reason._asdict() for reason in question.reasons()],
    }


def _tenth(heading: float | None) -> float | None:
    return None if heading is None else round(heading, 1)
