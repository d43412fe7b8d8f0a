"""The colours of the drawings: paper by day, by night, in black and white, and on a page.

Nothing is told by colour alone: shapes and words carry it. Text stands at least 4.5 to 1 from
what it is on, shapes 3 to 1; a test computes it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final


@dataclass(frozen=True, slots=True)
class Theme:
    """A set of colours.

    Attributes
    ----------
    paper, ink : str
        What is drawn on and with.
    quiet : str
        Text of second rank.
    thin : str
        Shapes of second rank, which still say something: forecast, ticks.
    hair : str
        Lines that only please the eye.
    pale, body : str
        Fills inside an outline: the sector, the aeroplane.
    wind : str
        Everything that blows.
    runway, runway_edge, paint : str
        Paved surface, its outline, and what is painted on it.
    within, near, over, unknown : str
        The levels.
    """

    name: str
    paper: str
    ink: str
    quiet: str
    thin: str
    hair: str
    pale: str
    body: str
    wind: str
    runway: str
    runway_edge: str
    paint: str
    within: str
    near: str
    over: str
    unknown: str


LIGHT: Final = Theme(
    name="light",
    paper="#FAF8F3",
    ink="#1B2430",
    quiet="#505A66",
    thin="#76808B",
    hair="#D0D0CE",
    pale="#DCE5F0",
    body="#ECE9E1",
    wind="#1F5A96",
    runway="#4A535E",
    runway_edge="#4A535E",
    paint="#FFFFFF",
    within="#1F766E",
    near="#8F5A04",
    over="#B83A16",
    unknown="#5E5873",
)
DARK: Final = Theme(
    name="dark",
    paper="#10171E",
    ink="#E8E4DA",
    quiet="#A9B0B7",
    thin="#7E8894",
    hair="#333B43",
    pale="#1E3145",
    body="#222C36",
    wind="#86B9EE",
    runway="#3A444F",
    runway_edge="#8A95A1",
    paint="#FFFFFF",
    within="#5CC4B8",
    near="#E3A94A",
    over="#FF8A5C",
    unknown="#B3ACC9",
)
# For a printer without colours, and for toner: runways are outlines.
PRINT: Final = Theme(
    name="print",
    paper="#FFFFFF",
    ink="#000000",
    quiet="#333333",
    thin="#666666",
    hair="#C4C4C4",
    pale="#E4E4E4",
    body="#F0F0F0",
    wind="#000000",
    runway="#FFFFFF",
    runway_edge="#000000",
    paint="#000000",
    within="#000000",
    near="#000000",
    over="#000000",
    unknown="#000000",
)


def _variable(name: str) -> str:
    return f"--drawing-{name.replace('_', '-')}"


_COLOURS: Final = tuple(field.name for field in fields(Theme) if field.name != "name")

# Colours that the page's own stylesheet decides: one drawing serves day, night and print.
PAGE: Final = Theme(
    "page", *(f"var({_variable(name)}, {getattr(LIGHT, name)})" for name in _COLOURS)
)


def colours(theme: Theme) -> dict[str, str]:
    """Every colour of a theme by its name."""
    return {name: getattr(theme, name) for name in _COLOURS}


def declarations(theme: Theme) -> str:
    """What a stylesheet says so that drawings made with `PAGE` show a theme.

    Examples
    --------
    >>> declarations(DARK).splitlines()[0]
    '--drawing-paper: #10171E;'
    """
    return "\n".join(f"{_variable(name)}: {colour};" for name, colour in colours(theme).items())
