"""From what pydantic found to faults that a person can mend, and a copy that goes on."""

from __future__ import annotations

import copy
import re
from typing import Any, Final

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from windwatch.errors import Fault
from windwatch.settings import words
from windwatch.settings.files import LISTS, Merged
from windwatch.settings.hints import another_word, as_number, hint_for, in_another_list
from windwatch.settings.lines import Loc
from windwatch.settings.places import example_at, known_keys, out_of_range, tables_with
from windwatch.settings.schema import WholeFile
from windwatch.settings.schema_limits import AircraftLimits

_HUSH: Final = re.compile(r"pass|secret|token|key|url|webhook", re.IGNORECASE)
_NEVER_HERE: Final = {
    "password": (
        "a password does not belong in this file",
        "put it into the environment and name it here: ",
        "password_env",
    ),
    "secret": (
        "a secret does not belong in this file",
        "put it into the environment and name it here: ",
        "secret_env",
    ),
    "api_key": (
        "a key does not belong in this file",
        "put it into the environment and name it here: ",
        "api_key_env",
    ),
}
_TYPES: Final = {
    "string_type": "text in double quotes",
    "float_type": "a number",
    "int_type": "a whole number",
    "bool_type": "true or false",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
}
_ROUNDS: Final = 8


def fault(merged: Merged, loc: Loc, problem: str, mend: str) -> Fault:
    """Return the fault at a place of the merged files."""
    file, line = merged.locate(loc)
    return Fault(str(file), line, key_in_words(merged.raw, loc), problem, mend)


def key_in_words(raw: Any, loc: Loc) -> str:
    """Return a place in words: ``aircraft X-LARK, limits.crosswind_kt``."""
    said: list[str] = []
    here = raw
    dotted = False
    for number, part in enumerate(loc):
        if isinstance(part, int) and here is not None and not isinstance(here, list):
            break  # a list that was written as its one item
        here = _step(here, part)
        if isinstance(part, int):
            said[-1] = f"{said[-1]} {_called(here, part)}"
            dotted = False
        elif dotted:
            said[-1] = f"{said[-1]}.{part}"
        else:
            word = "end" if part == "ends" and number + 1 < len(loc) else part
            said.append(word)
            dotted = True
    return ", ".join(said)


def _step(here: Any, part: str | int) -> Any:
    try:
        return here[part]
    except (KeyError, IndexError, TypeError):
        return None


def _called(item: Any, number: int) -> str:
    """Return how people call an item of a list: by its name, or by its number from 1."""
    if isinstance(item, dict):
        for key in ("id", "name"):
            if isinstance(item.get(key), str) and item[key].strip():
                return words.shown(item[key])[1:-1]
        ends = item.get("ends")
        if isinstance(ends, list):
            names = [_step(end, "name") for end in ends]
            if names and all(isinstance(name, str) for name in names):
                return "/".join(words.shown(name)[1:-1] for name in names)
    return f"no. {number + 1}"


def judge(merged: Merged) -> tuple[WholeFile | None, list[Fault], tuple[Loc, ...]]:
    """Validate the merged files.

    Returns
    -------
    WholeFile or None
        The model. Where something was refused, that part is replaced by an example, so that
        the rest can be judged further; None if even that does not help.
    list of Fault
        Every fault found.
    tuple of Loc
        The places that were replaced: what is found there later is no news.
    """
    raw = copy.deepcopy(merged.raw)
    faults: list[Fault] = []
    mended: list[Loc] = []
    for _ in range(_ROUNDS):
        try:
            return WholeFile.model_validate(raw), faults, tuple(mended)
        except ValidationError as error:
            details = error.errors(include_url=False)
        misspelt = {
            (*detail["loc"][:-1], key)
            for detail in details
            if detail["type"] == "extra_forbidden"
            for key in _meant(detail["loc"])
        } | _of_airfields(raw, details)
        for detail in details:
            if detail["type"] in {"missing", "list_type"} and detail["loc"] in misspelt:
                continue  # it is there, under a wrong name, and that is told
            loc = _written(merged.raw, detail["loc"], detail["type"])
            if any(loc[: len(done)] == done for done in mended):
                continue
            mended.append(loc)
            faults.append(_fault_of(merged, loc, detail))
        done: list[Loc] = []
        for detail in details:
            loc = _written(raw, detail["loc"], detail["type"])
            if any(loc[: len(above)] == above for above in done):
                continue  # it went with the whole that it was in
            gone = detail["type"] == "extra_forbidden" or detail["loc"][-1] == "[key]"
            _replace(raw, loc, gone=gone)
            done.append(loc)
    return None, faults, tuple(mended)


def _of_airfields(raw: Any, details: list[ErrorDetails]) -> set[Loc]:
    """Where an airfield misses what was written beside it, which is told there."""
    beside = {detail["loc"][-1] for detail in details if len(detail["loc"]) == 1}
    fields = raw.get("airfield")
    count = len(fields) if isinstance(fields, list) else 0
    return {("airfield", number, key) for number in range(count) for key in beside}


def _written(raw: Any, loc: Loc, kind: str) -> Loc:
    """Return the place as the file has it: without the steps that our own reading added."""
    here = raw
    for number, part in enumerate(loc):
        if part == "[key]":
            return loc[:number]
        if not isinstance(here, dict | list):
            return loc[:number]
        if isinstance(here, list) != isinstance(part, int):
            return loc[:number]
        if isinstance(here, dict) and part not in here:
            return loc[: number + 1] if kind == "missing" else loc[:number]
        here = _step(here, part)
    return loc


def _replace(raw: Any, loc: Loc, *, gone: bool) -> None:
    """Put an example in the place of what was refused, or take out what is unknown."""
    parent = raw
    for part in loc[:-1]:
        parent = parent[part]
    last = loc[-1]
    example = None if gone else copy.deepcopy(example_at(loc))
    if example is None:
        del parent[last]
    else:
        parent[last] = example


def _fault_of(merged: Merged, loc: Loc, detail: ErrorDetails) -> Fault:
    problem, mend = _sentence(loc, detail)
    return fault(merged, loc, problem, mend)


def _sentence(loc: Loc, detail: ErrorDetails) -> tuple[str, str]:
    """Return what is wrong and what to write."""
    kind, given, context = detail["type"], detail.get("input"), detail.get("ctx", {})
    quoted = "this" if any(_HUSH.search(str(part)) for part in loc[-2:]) else words.shown(given)
    line = _example_line(loc)
    if kind == "refused":
        mend = str(context["mend"])
        shows = any(mark in mend for mark in (" as ", "example", " = "))
        return str(context["problem"]), mend if shows else f"{mend}{_for_example(line)}"
    if kind == "extra_forbidden":
        return _unknown(loc)
    if kind == "missing":
        return "missing", f"add {line}"
    if kind in _TYPES:
        return _wrong_type(loc, kind, given, quoted, line)
    if kind == "literal_error":
        return _wrong_word(given, quoted, str(context["expected"]))
    if kind == "finite_number":
        return f"{quoted} is no figure", f"write {line}"
    if kind in {"too_long", "string_too_long"} and isinstance(given, str):
        return f"longer than {context['max_length']} characters", "write it shorter"
    if kind in {"too_short", "too_long"}:
        return _wrong_length(context, line)
    return f"{quoted} is {out_of_range(loc)}", _in_range(loc, given, line)


def _in_range(loc: Loc, given: object, line: str) -> str:
    """What to write instead of a number outside its range."""
    if isinstance(given, int | float):
        if str(loc[-1]).startswith("heading_"):
            return _heading_meant(given)
        if loc[-1] == "near_at" and 50 <= given < 100:
            return f"it is a share, not per cent; write near_at = {given / 100:g}"
    return f"write a number in that range{_for_example(line)}"


def _heading_meant(given: float) -> str:
    """What was probably meant by a heading off the circle; somebody else's is no example for it."""
    as_surveyed = "write the heading as it was surveyed, in degrees"
    if 720 < given <= 3600:
        return f"did you mean {given / 10:g}? {as_surveyed}"
    if -360 < given < 0:
        return f"did you mean {given + 360:g}? {as_surveyed}"
    return as_surveyed


def _for_example(line: str) -> str:
    return f", for example {line}" if line else ""


def _example_line(loc: Loc) -> str:
    """Return a line that would be right: ``crosswind_kt = 15``."""
    example = example_at(loc)
    if example is None:
        return ""
    last = next((part for part in reversed(loc) if isinstance(part, str)), "")
    if isinstance(loc[-1], int):
        return words.toml(example)
    if last in LISTS and len(loc) == 1:
        return f"an [[{last}]] table with " + ", ".join(
            f"{key} = {words.toml(value)}" for key, value in example[0].items()
        )
    if isinstance(example, dict) and len(loc) == 1:
        return f"a [{last}] table with " + ", ".join(
            f"{key} = {words.toml(value)}" for key, value in example.items()
        )
    return f"{last} = {words.toml(example)}"


def _meant(loc: Loc) -> list[str]:
    """Return the keys that an unknown one was probably meant to be."""
    last, known = str(loc[-1]), known_keys(loc)
    # A key without its unit or reference may mean several: heading is true or magnetic.
    whole = [key for key in known if key.startswith(last + "_")]
    other = another_word(last, known)
    near = words.nearest(last, known, 0.7) if other is None else other
    return whole or [key for key in [near] if key is not None]


def _unknown(loc: Loc) -> tuple[str, str]:
    last = str(loc[-1])
    known = known_keys(loc)
    if last in _NEVER_HERE and _NEVER_HERE[last][2] in known:
        problem, mend, key = _NEVER_HERE[last]
        return problem, mend + _example_line((*loc[:-1], key))
    if last in AircraftLimits.model_fields and last not in known and "crosswind_kt" in known:
        return "a limit of an aircraft on the ground", "move it to the limits of an aircraft"
    hint = hint_for(loc)
    if hint is not None:
        return hint
    inside = tables_with(last, loc[:-1])
    if inside:
        if len(loc) == 1:
            inside = [f"[{key}]" for key in inside]
            return "unknown key here", f"move it below {' or '.join(inside)}"
        return "unknown key here", f"move it into {' or '.join(inside)}"
    meant = _meant(loc)
    if meant:
        return "unknown key", f"did you mean {' or '.join(meant)}?"
    elsewhere = tables_with(last, ())
    if elsewhere:
        return "unknown key here", f"move it to {' or '.join(f'[{key}]' for key in elsewhere)}"
    other = in_another_list(last)
    if other is not None:
        return other
    return "unknown key", f"take it out; known here: {', '.join(known)}"


def _wrong_type(loc: Loc, kind: str, given: object, quoted: str, line: str) -> tuple[str, str]:
    last = str(loc[-1])
    if kind == "list_type" and isinstance(given, dict):
        return "a single table, where several may stand", f"write [[{last}]] in double brackets"
    if kind in {"model_type", "dict_type"} and isinstance(given, list):
        return "a list of tables, where one stands", f"write [{last}] once, in single brackets"
    problem = f"{quoted} is not {_TYPES[kind]}"
    if last == "email" and isinstance(given, list):
        return problem, f"write one address, {line}, and a further [[contact]] for each other"
    if kind == "model_type" and len(loc) > 1 and loc[-2] == "ends" and isinstance(given, str):
        return problem, f"write {{ name = {quoted} }}, and its heading_true_deg if you know it"
    if quoted != "this" and isinstance(loc[-1], str):
        line = _as_given(kind, last, given) or line
    return problem, f"write {line}" if line else f"write {_TYPES[kind]}"


def _as_given(kind: str, last: str, given: object) -> str:
    """The line with what was given, in the right form: it says more than any example."""
    if kind == "float_type":
        figure = as_number(given)
        return "" if figure is None else f"{last} = {figure}"
    if kind == "list_type" and isinstance(given, str) and last != "ends":
        return f"{last} = [{words.shown(given)}]"
    if kind == "string_type" and last == "name" and type(given) is int:
        return f'{last} = "{given}"'
    return ""


def _wrong_word(given: object, quoted: str, expected: str) -> tuple[str, str]:
    allowed = re.findall(r"'([^']*)'", expected)
    choice = " or ".join(", ".join(words.toml(word) for word in allowed).rsplit(", ", 1))
    meant = words.nearest(given, allowed) if isinstance(given, str) else None
    hint = f"did you mean {words.toml(meant)}? It may be {choice}" if meant else f"write {choice}"
    return f"{quoted} is not known here", hint


def _wrong_length(context: dict[str, Any], line: str) -> tuple[str, str]:
    least, most = context.get("min_length"), context.get("max_length")
    need = f"at least {least} needed" if least is not None else f"at most {most} allowed"
    return f"{context['actual_length']} given, {need}", f"write {line}"
