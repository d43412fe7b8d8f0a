"""What is shown first and put together where room is short: order and grouping, no judgement."""

from __future__ import annotations

from typing import Final, NamedTuple

from windwatch.assessment.values import Mark
from windwatch.board import words
from windwatch.board.ends import by_number, out, remain
from windwatch.board.values import EndRow, HoldCard, LegCard, SubjectRow
from windwatch.drawings.hold import held_in_words
from windwatch.notices.words import listed

_GRAVITY: Final = {Mark.OVER: 0, Mark.UNKNOWN: 1, Mark.NEAR: 2, Mark.WITHIN: 3}


# --- who, and which end ----------------------------------------------------------------


def worst_first(subjects: tuple[SubjectRow, ...]) -> list[SubjectRow]:
    """Over, unknown, near, within; of equal ones whom fewest ends remain, then as configured."""
    return sorted(
        subjects,
        key=lambda row: (
            _GRAVITY[row.stand.mark],
            _GRAVITY[row.stand.last_known or row.stand.mark],
            _kept(row),
        ),
    )


def _kept(row: SubjectRow) -> int:
    return sum(end.stand.mark is not Mark.OVER for end in row.ends)


def chosen_first(subjects: tuple[SubjectRow, ...], key: str) -> list[SubjectRow]:
    """Whom the reader chose, then the others, the worst first."""
    return sorted(worst_first(subjects), key=lambda row: row.key != key)


def aircraft_of(subjects: tuple[SubjectRow, ...], key: str) -> str:
    """The aircraft of whom the reader chose; '' for all."""
    return next((row.aircraft for row in subjects if row.key == key), "")


class Answer(NamedTuple):
    """The ends of one level for one subject.

    Attributes
    ----------
    mark : Mark
    text : str
        ``only 19``; ``1, 10 and 28``; that no runway remains.
    figures : str
        What decides, each figure once with all ends that it holds for.
    """

    mark: Mark
    text: str
    figures: str = ""


def answers_of(row: SubjectRow) -> list[Answer]:
    """Which ends remain and which are out, each named: what may be used first."""
    unknown = row.stand.mark is Mark.UNKNOWN or row.stand.last_known is not None
    if unknown or not row.ends:
        short, _, figures = row.remains.partition(": ")
        return [Answer(row.stand.mark, short[:1].upper() + short[1:], figures)]
    ends = {mark: [end for end in row.ends if end.stand.mark is mark] for mark in Mark}
    kept = len(ends[Mark.WITHIN]) + len(ends[Mark.NEAR])
    found = []
    for mark in (Mark.WITHIN, Mark.NEAR):
        if ends[mark]:
            names = listed([end.end for end in ends[mark]])
            text = words.ONLY.format(ends=names) if kept == 1 else names
            # The best end of a level tells how near the limits are.
            found.append(Answer(mark, text, figures_of(ends[mark][:1], named=len(ends[mark]) > 1)))
    if ends[Mark.OVER]:
        over = sorted(ends[Mark.OVER], key=lambda end: by_number(end.end))
        names = listed([end.end for end in over])
        if kept:
            figures = figures_of(over, named=len(over) > 1)
        else:
            # That the other end of a runway has the tailwind is no news.
            figures = figures_of([end for end in over if end.best] or over)
        found.append(Answer(Mark.OVER, names if kept else words.NONE_REMAINS, figures))
    return found


def figures_of(ends: list[EndRow], *, named: bool = True) -> str:
    """``10, 28 crosswind 8.8 kt > 7 kt (student solo); 1 tailwind 8.8 kt > 8 kt (X-LARK)``.

    Whose limit it is is said once where it is the same for all; `named` False: without the ends,
    where they are said before.
    """
    found: dict[tuple[str, str], list[str]] = {}
    for end in ends:
        if end.deciding is not None:
            held = f", {words.HELD}" if end.stand.note else ""
            figure = f"{end.deciding.name} {end.deciding.words}{held}"
            found.setdefault((figure, end.deciding.whose), []).append(end.end)
    whose = {each for _, each in found}
    parts = [
        (f"{', '.join(names)} " if named else "") + figure + (f" ({who})" if len(whose) > 1 else "")
        for (figure, who), names in found.items()
    ]
    last = f" ({whose.pop()})" if len(whose) == 1 else ""
    return "; ".join(parts) + last


def after_colon(headline: str) -> str:
    """A headline without its level, where shape and word of that stand before it."""
    said = headline.partition(": ")[2] or headline
    return said[:1].upper() + said[1:]


def short_of(row: SubjectRow) -> str:
    """Which end remains and which is out, in a sentence without figures."""
    answers = answers_of(row)
    over = [end.end for end in row.ends if end.stand.mark is Mark.OVER]
    kept = [end.end for end in row.ends if end.stand.mark in {Mark.WITHIN, Mark.NEAR}]
    if not kept:
        return answers[0].text
    said = f"{remain(kept)}{f', {out(over)}' if over else ''}"
    return said[:1].upper() + said[1:]


# --- how it is held -------------------------------------------------------------------


class Kind(NamedTuple):
    """How one kind of aeroplane is held on a leg.

    Attributes
    ----------
    words : str
        With what is held: ``stick: back, left``.
    stopped : tuple of str
        Those of `aircraft` that must not taxi now.
    """

    words: str
    aircraft: tuple[str, ...]
    critical: bool
    hold: HoldCard
    stopped: tuple[str, ...] = ()


def kinds_on(leg: LegCard, aircraft: str = "", stopped: tuple[str, ...] = ()) -> list[Kind]:
    """What is held on a leg, each once, with all whom it is for; for one aircraft alone if named.

    The drawing is that of the first.
    """
    found: dict[str, Kind] = {}
    for hold in leg.holds:
        if aircraft and aircraft not in hold.aircraft:
            continue
        said = held_in_words(hold.craft.holds, hold.positions.yoke)
        so_far = found.get(said, Kind(said, (), hold.most_critical, hold))
        whom = (*so_far.aircraft, *([aircraft] if aircraft else hold.aircraft))
        found[said] = so_far._replace(
            aircraft=whom,
            critical=so_far.critical or hold.most_critical,
            stopped=tuple(name for name in whom if name in stopped),
        )
    return list(found.values())


def kinds_differ(kinds: list[Kind]) -> bool:
    """Whether a surface is held otherwise by one kind than by another."""
    answers = {(kind.hold.positions.ailerons, kind.hold.positions.elevator) for kind in kinds}
    return len(answers) > 1


def stopped(legs: tuple[LegCard, ...], names: tuple[str, ...], aircraft: str = "") -> str:
    """What stands above the legs where aircraft must not taxi; '' where all may.

    Parameters
    ----------
    names : tuple of str
        Who must not taxi now.
    """
    on_legs = _on(legs)
    if aircraft:
        on_legs &= {aircraft}
    those = [name for name in names if name in on_legs]
    if not those:
        return ""
    if not on_legs <= set(those):
        return words.SOME_DO_NOT_TAXI.format(names=listed(those))
    return words.NOBODY_TAXIS if len(those) > 1 else words.DOES_NOT_TAXI.format(names=those[0])


def some_stopped(legs: tuple[LegCard, ...], names: tuple[str, ...]) -> bool:
    """Whether some must not taxi and others may: then each is told apart."""
    return bool(names) and not _on(legs) <= set(names)


def _on(legs: tuple[LegCard, ...]) -> set[str]:
    return {name for leg in legs for hold in leg.holds for name in hold.aircraft}
