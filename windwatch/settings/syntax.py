"""From what `tomllib` says about a text that is no TOML to a fault that a person can mend.

The line itself is looked at first: it shows what was meant (a decimal comma, a unit behind the
figure) where the parser only says what it expected. The line is never quoted: it may hold a
secret.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final, NamedTuple

from windwatch.errors import Fault

_WRITE: Final = 'write key = value, with texts in double quotes, as name = "X-LARK"'
_AT_LINE: Final = re.compile(r" ?\(at (?:line (?P<line>\d+), column \d+|end of document)\)$")
_QUOTED: Final = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_COMMENT: Final = re.compile(r"#.*")


class _Slip(NamedTuple):
    """What a line looks like, what is wrong with it, and what to write."""

    looks: re.Pattern[str]
    problem: str
    mend: str


def _slip(looks: str, problem: str, mend: str) -> _Slip:
    return _Slip(re.compile(looks, re.VERBOSE), problem, mend)


# In the line as it stands. Signs that look like others are written by their numbers.
_SIGNS: Final = (
    _slip(
        "[\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb]",
        "typographic quotes, which are no quotes here",
        'type straight ones, as "X-LARK", not from a word processor',
    ),
    _slip(
        "[\u00a0\u2007\u202f\u200b\u2060\u3000\ufeff]",
        "a blank that is none, as web pages and word processors have",
        "delete the blanks in this line and type them again",
    ),
    _slip(
        "[\u2212\u2013\u2014][ ]?[0-9]",
        "a dash where a minus sign belongs",
        "type - from the keyboard before the figure",
    ),
    _slip(
        r"^(?:<{7}|={7}|>{7})",
        "two versions of this file were joined here and both are left",
        "keep the lines of one, and take those with <<<<<<<, ======= and >>>>>>> out",
    ),
)
# In the line without what stands in quotes, and without its comment. Most telling first.
_SLIPS: Final = (
    _slip(
        r"^\s*\[\[[^\[\]]*\]\s*$ | ^\s*\[[^\[\]]*\]\]\s*$ | ^\s*\[{1,2}[^\[\]=]*$",
        "not as many brackets behind the name of the table as before it",
        "write [feed] for what there is once, [[aircraft]] for what there may be several of",
    ),
    _slip(
        r'^\s*(?:[\w-]+|"")\s*: | [{,]\s*(?:[\w-]+|"")\s*:',
        "a colon where = belongs",
        'write key = value, as gear = "nosewheel"',
    ),
    _slip(
        r"^\s*[\w-]+\s*= .* \d\d?:\d\d",
        "a time of day without quotes",
        'write it in quotes, as from = "07:00"',
    ),
    _slip(r"//", "a comment that begins with //", "begin it with #"),
    _slip(r"\[[^\]]*;", "a ; between two items of a list", "write a comma between them"),
    _slip(r"=[^\[]*;", "a ; behind the value", "take it out, or begin a comment with #"),
    _slip(
        r'\[[^\]]*""\s+""',
        "two items of a list without a comma between them",
        "write a comma between them",
    ),
    _slip(
        r"=\s*[+-]?\d+,\d",
        "a decimal comma",
        "write a point instead, as latitude = 42.93",
    ),
    _slip(
        r"=\s*[+-]?[\d.]+\s*[\u00b0\u00ba]",
        "a degree sign behind the figure",
        "write degrees and decimals alone, south and west negative, as longitude = -76.02",
    ),
    _slip(
        r"=\s*\d+\s*(?:s|sec|min|h|hours?|minutes?|seconds?)\b",
        "a length of time without quotes",
        'write it in quotes, as every = "2min"',
    ),
    _slip(
        r"=\s*[+-]?[\d.]+\s*(?:kts?|ft|nm|NM|m|km|mph|knots|feet|deg|degrees|KCAS|KIAS)\b",
        "a unit behind the figure",
        "write the figure alone; the unit is in the name of the key, as crosswind_kt = 15",
    ),
    _slip(
        r"=\s*(?:True|False|TRUE|FALSE|yes|no|Yes|No|on|off)\b",
        "a yes or no in other words than this file knows",
        "write true or false, in small letters and without quotes",
    ),
    _slip(
        r"=\s*(?:None|none|null|nil|NULL|-)?\s*(?:$|[,}])",
        "a key without a value",
        "write its value behind =, or take the whole line out",
    ),
    _slip(r"=\s*[+-]?0\d", "a figure that begins with 0", "take the 0 away, as 5 for 05"),
    _slip(
        r"=\s*[+-]?\.\d",
        "a figure that begins with its point",
        "write a 0 before it, as 0.5",
    ),
    _slip(
        r"=\s*[+-]?\d+\.\s*(?:$|[,}])",
        "a figure that ends with its point",
        "take the point away, or write a 0 behind it",
    ),
    _slip(r",\s*}", "a comma before }", "take that comma out"),
    _slip(
        r"(?:^|[{,])\s*[A-Za-z]\w*\s+\w+\s*=",
        "a blank within a key",
        "write _ instead of it, as crosswind_kt",
    ),
    _slip(
        r'{[^}]*=\s*[\w."+-]+\s+\w+\s*=',
        "two keys in { } without a comma between them",
        "write a comma between them, as { crosswind_kt = 15, tie_down_kt = 25 }",
    ),
    _slip(
        r"{[^}]*$",
        "a { without its } in the same line",
        "write the whole table in one line, as { crosswind_kt = 15, tie_down_kt = 25 }",
    ),
    _slip(
        r"=\s*[A-Za-z][\w@.-]*\s*(?:$|[,}])",
        "a text without quotes",
        'write it in double quotes, as gear = "nosewheel"',
    ),
)
# What tomllib says, in words of the house, where the line does not tell more.
_SAID: Final = (
    ("illegal character '\\n'", "a text has no closing quote", 'close it with "'),
    ("unterminated string", "a text has no closing quote", 'close it with "'),
    ("cannot overwrite a value", "this key was set before", "keep one of the two"),
    ("duplicate inline table key", "a key stands twice in { }", "keep one of the two"),
    ("cannot declare", "this table was begun before", "put the keys of both into one"),
    ("immutable namespace", "this table was closed before", "put the keys of both into one"),
    ("invalid value", "the value is no text, number, list or table", _WRITE),
    ("expected newline", "something stands behind the value", "put it on a line of its own"),
    ("unclosed array", "a list has no closing bracket", "close it with ], here or above"),
    ("unclosed inline table", "a table has no closing brace", "close it with }"),
    ("unescaped '\\'", "a text has a single \\ in it", "write / or \\\\ instead"),
    ("expected '='", "the key has no value", _WRITE),
    ("end of a table declaration", "the name of a table has no closing bracket", "close it with ]"),
)
# These are told by what tomllib says alone: their lines look right, or like something else.
_SURE: Final = _SAID[:6]


def syntax_fault(path: Path, said: str, text: str) -> Fault:
    """Turn the message of `tomllib` into a fault.

    Parameters
    ----------
    said : str
        Its message; some come without a place.
    text : str
        The whole text, with line ends of one character.
    """
    lines = text.split("\n")
    match = _AT_LINE.search(said)
    line = None
    if match is not None:
        line = int(match["line"]) if match["line"] else max(1, len(text.rstrip().splitlines()))
    if 'expected "\'"' in said.lower():
        line = next((i for i, each in enumerate(lines, 1) if _open_apostrophe(each)), line)
        return _fault(path, line, "a text has no closing quote", "close it with '")
    if text.lstrip().startswith("{"):
        return _fault(
            path,
            1,
            "this looks like JSON",
            'write TOML: [feed] in a line, kind = "awc" in the next',
        )
    if not any(begin in said.lower() for begin, _, _ in _SURE):
        slip = _slip_in(lines[line - 1]) if line is not None and line <= len(lines) else None
        if slip is not None:
            return _fault(path, line, slip.problem, slip.mend)
    for begin, problem, mend in _SAID:
        if begin in said.lower():
            return _fault(path, line, problem, mend)
    return _fault(path, line, "this cannot be read", _WRITE)


def _fault(path: Path, line: int | None, problem: str, mend: str) -> Fault:
    return Fault(str(path), line, "this line", problem, mend)


def _open_apostrophe(line: str) -> bool:
    """Whether a line begins a text with ' and does not end it."""
    return "'" in _COMMENT.sub("", _QUOTED.sub('""', line))


def _slip_in(line: str) -> _Slip | None:
    """What is probably wrong with a line."""
    signs = next((slip for slip in _SIGNS if slip.looks.search(line)), None)
    bare = _COMMENT.sub("", _QUOTED.sub('""', line))
    return signs or next((slip for slip in _SLIPS if slip.looks.search(bare)), None)
