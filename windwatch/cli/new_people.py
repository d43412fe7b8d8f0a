"""The questions of ``config new`` about aircraft, their limits, and who flies them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

from windwatch.cli.new_ask import Asker, read_option
from windwatch.cli.new_given import Given
from windwatch.cli.new_names import ALL, NO_MORE, NONE, among, choice, names, new_name, once
from windwatch.errors import UsageError
from windwatch.settings import starting_parts as parts
from windwatch.settings import starting_read as read
from windwatch.settings.starting import AircraftAnswer, Limits, PilotAnswer
from windwatch.settings.starting_words import (
    AIRCRAFT_LIMITS,
    AIRCRAFT_STARTERS,
    COMMON_PRACTICE,
    NOT_A_LIMIT,
    PILOT_STARTERS,
    RUNWAY_LIMITS,
    LimitWords,
)

_STARTERS_SAID: Final = (
    "Limits in knots; gusts count. Enter takes the figure in brackets, which is "
    f"{COMMON_PRACTICE}. Type none to leave one out."
)
_AGAIN_SAID: Final = "Limits in knots; in brackets common practice, no source."


def _optional(reader: Callable[[str], float]) -> Callable[[str], float | None]:
    """A reader that takes ``none`` for nothing."""
    return lambda text: None if text.strip().lower() in {"", "-", NONE} else reader(text)


# --- limits --------------------------------------------------------------------------------


def _limits(
    asker: Asker,
    option: str,
    words: Sequence[LimitWords],
    starters: Mapping[str, float],
    *,
    about: str,
    explained: bool,
) -> tuple[Limits, frozenset[str]]:
    """Ask limit by limit; those that were taken as offered are named."""
    found: list[tuple[str, float]] = []
    taken: set[str] = set()
    for each in words:
        starter = starters.get(each.key)
        offered = NONE if starter is None else f"{starter:g}"
        value = asker.ask(
            f"{each.short.replace('_', ' ').capitalize()}, knots",
            _optional(read.knots),
            option=option,
            offered=offered,
            said=each.meaning,
            explained=explained,
            about=about,
        )
        if value is None:
            continue
        found.append((each.key, value))
        if value == starter:
            taken.add(each.key)
    return tuple(found), frozenset(taken)


# --- aircraft ------------------------------------------------------------------------------


def ask_aircraft(asker: Asker, given: Given) -> tuple[AircraftAnswer, ...]:
    """Ask for aircraft, one by one, until no more is named."""
    if given.aircraft:
        found = [read_option("--aircraft", text, parts.aircraft) for text in given.aircraft]
        once("--aircraft", [craft.name for craft in found])
        return tuple(map(_with_starters, found))
    option = "--aircraft X-LARK,nosewheel,high,crosswind=15,tie_down=25"
    if asker.silent:
        raise UsageError(f"Aircraft: not given; add {option}")
    found = []
    while True:
        known = [craft.name for craft in found]
        called = asker.ask(
            "Aircraft" if not found else "Another aircraft",
            new_name(known, may_end=bool(found)),
            option=option,
            offered=NO_MORE if found else None,
            said="Aircraft, one by one: registration, or what people call it.",
            explained=bool(found),
            about=", ".join(known),
        )
        if not called:
            return tuple(found)
        found.append(_one_aircraft(asker, called, option, explained=bool(known)))


def _one_aircraft(asker: Asker, called: str, option: str, *, explained: bool) -> AircraftAnswer:
    gear = asker.ask(
        "Gear",
        read.gear,
        option=option,
        offered="nosewheel",
        said="Where is the third wheel: nosewheel or tailwheel?",
        about=called,
    )
    wing = asker.ask(
        "Wing", read.wing, option=option, offered="high", said="Wing high or low?", about=called
    )
    asker.say("", _AGAIN_SAID if explained else _STARTERS_SAID)
    found, taken = _limits(
        asker,
        option,
        AIRCRAFT_LIMITS,
        AIRCRAFT_STARTERS[gear],
        about=called,
        explained=explained,
    )
    demonstrated = asker.ask(
        "Demonstrated crosswind",
        _optional(read.knots),
        option=option,
        offered=NONE,
        said=f"From its flight manual, if you like. {NOT_A_LIMIT}",
        explained=explained,
        about=called,
    )
    return AircraftAnswer(called, gear, wing, found, demonstrated, starters=taken)


def _with_starters(craft: AircraftAnswer) -> AircraftAnswer:
    """An aircraft of an option without any limit gets the figures to start with."""
    if craft.limits:
        return craft
    starters = AIRCRAFT_STARTERS[craft.gear]
    return replace(craft, limits=tuple(starters.items()), starters=frozenset(starters))


# --- pilots --------------------------------------------------------------------------------


def ask_pilots(asker: Asker, given: Given) -> tuple[PilotAnswer, ...]:
    """Ask for standards of pilots and their limits."""
    if given.pilot:
        found = [read_option("--pilot", text, parts.pilot) for text in given.pilot]
        once("--pilot", [pilot.name for pilot in found])
        return tuple(map(_pilot_with_starters, found))
    option = "--pilot student solo,crosswind=7,wind=15"
    typed = asker.ask(
        "Standards",
        names,
        option=option,
        offered=NONE,
        said=(
            "Who flies? Standards of pilots with limits of their own, a comma between: "
            f"{', '.join(PILOT_STARTERS)}, or names of yours. The smaller limit of aircraft and "
            "pilot counts. None: the aircraft's limits alone."
        ),
    )
    found = []
    for position, called in enumerate(typed):
        asker.say("", f"{called}. {_AGAIN_SAID if position else _STARTERS_SAID}")
        limits, taken = _limits(
            asker,
            option,
            RUNWAY_LIMITS,
            PILOT_STARTERS.get(called.lower(), {}),
            about=called,
            explained=True,
        )
        found.append(PilotAnswer(called, limits, taken))
    return tuple(found)


def _pilot_with_starters(pilot: PilotAnswer) -> PilotAnswer:
    starters = PILOT_STARTERS.get(pilot.name.lower(), {})
    if pilot.limits or not starters:
        return pilot
    return replace(pilot, limits=tuple(starters.items()), starters=frozenset(starters))


def ask_who_flies(
    asker: Asker, given: Given, aircraft: Sequence[AircraftAnswer], pilots: Sequence[PilotAnswer]
) -> tuple[AircraftAnswer, ...]:
    """Ask which standards fly which aircraft; all, unless it is said otherwise."""
    known = tuple(pilot.name for pilot in pilots)
    for craft in aircraft:
        among("--aircraft", f"{craft.name} is flown_by", craft.flown_by, known)
    if len(known) < 2 or given.aircraft or asker.silent:
        return tuple(aircraft)
    return tuple(
        replace(
            craft,
            flown_by=asker.ask(
                f"Who flies {craft.name}",
                choice(known),
                option="--aircraft NAME,…,flown_by=student solo+dual",
                offered=ALL,
                said=f"Which of {', '.join(known)} fly it? Several with a comma between.",
                explained=craft is not aircraft[0],
                about=", ".join(known),
            ),
        )
        for craft in aircraft
    )
