"""Answers written down as a commented configuration: the same answers, the same text."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Iterator
from typing import Final

from windwatch.settings.starting import (
    AircraftAnswer,
    AirfieldAnswer,
    Answers,
    ContactAnswer,
    EndAnswer,
    FeedAnswer,
    MailAnswer,
    PilotAnswer,
    StationAnswer,
)
from windwatch.settings.starting_words import (
    AIRCRAFT_LIMITS,
    HEARS,
    MEANING_OF,
    NOT_A_LIMIT,
    RUNWAY_LIMITS,
)

_WIDTH: Final = 80
_COMMENT_AT: Final = 26
STARTER_MARK: Final = "common practice, no source: confirm it"
MAKE_ONE: Final = (
    "python3 -c \"import base64, os; print('whsec_' + base64.b64encode(os.urandom(32)).decode())\""
)
MAIL_PASSWORD: Final = "WINDWATCH_MAIL_PASSWORD"  # noqa: S105 # the name of a variable


def as_toml(answers: Answers) -> str:
    """The configuration, with a comment for whatever one may want to change."""
    blocks = [
        _head(answers),
        _feed(answers.feed),
        _store(),
        *([] if answers.mail is None else [_mail(answers.mail)]),
        *([_folder(answers.mail_folder)] if answers.mail_folder else []),
        _airfield(answers.airfield),
        _title("aircraft", _LIMITS_SAID) if answers.aircraft else [],
        *(_aircraft(each, answers) for each in answers.aircraft),
        _title("who flies", _PILOTS_SAID) if answers.pilots else [],
        *(_pilot(each, answers) for each in answers.pilots),
        _title("whom to tell"),
        *map(_contact, answers.contacts),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def secrets_needed(answers: Answers) -> tuple[str, ...]:
    """Environment variables that must be set before a notice can leave."""
    names = []
    if answers.mail is not None and answers.mail.username:
        names.append(MAIL_PASSWORD)
    if not answers.mail_folder:
        names += [webhook_secret(each.name) for each in answers.contacts if each.webhook]
    return tuple(dict.fromkeys(names))


def webhook_secret(contact: str) -> str:
    """Environment variable that holds the secret of a contact's webhook."""
    name = re.sub(r"[^A-Z0-9]+", "_", contact.upper()).strip("_") or "CONTACT"
    return f"WINDWATCH_{name}_SECRET"


# --- the rim ---------------------------------------------------------------------------


def _head(answers: Answers) -> list[str]:
    first = [f"#:schema {answers.schema_url}"] if answers.schema_url else []
    return [
        *first,
        *_comment(
            f"windwatch at {answers.airfield.name}. Written by windwatch config new; change what "
            "you like, then run windwatch config check. A running watch takes a changed file by "
            "itself. Every key that there is: windwatch config schema."
        ),
    ]


def _feed(feed: FeedAnswer) -> list[str]:
    lines = [*_title("where reports come from"), "[feed]"]
    lines.append(_line("kind", _text(feed.kind), _KINDS_SAID.get(feed.kind, "")))
    if feed.contact:
        lines.append(_line("contact", _text(feed.contact), "public feeds ask who calls them"))
    if feed.every:
        lines.append(_line("every", _text(feed.every), "how often to ask"))
    if feed.url:
        lines.append(f"url = {_text(feed.url)}")
        if feed.url.startswith("http:"):
            lines.append("allow_http = true")
    if feed.allow_networks:
        lines.append(f"allow_networks = {_list(feed.allow_networks)}")
    if feed.files:
        lines.append(f"files = {_list(feed.files)}")
    if feed.mapping:
        lines.append("  [feed.mapping]")
        lines += [
            f"  {key} = {_text(value) if isinstance(value, str) else _figure(value)}"
            for key, value in feed.mapping
        ]
    return lines


_KINDS_SAID: Final = {
    "awc": "public reports, worldwide",
    "awc-cache": "public reports, worldwide, one file for all",
    "noaa-text": "public reports, worldwide, one file a station",
    "noaa-cycles": "public reports, worldwide, one file for all",
    "nws": "public reports, United States",
    "recorded": "recorded reports: for replays",
    "json": "your own anemometer, or an aggregator",
}


def _store() -> list[str]:
    return [
        *_comment("The books are kept in windwatch.db beside this file; to keep them elsewhere:"),
        "# [store]",
        '# path = "/var/lib/windwatch/windwatch.db"',
    ]


def _mail(mail: MailAnswer) -> list[str]:
    lines = [*_title("how mail leaves"), "[mail]", f"host = {_text(mail.host)}"]
    if mail.port is not None:
        lines.append(f"port = {mail.port}")
    lines.append(_line("security", _text(mail.security), '"starttls" (587) or "tls" (465)'))
    if mail.username:
        lines.append(f"username = {_text(mail.username)}")
        lines.append(_line("password_env", _text(MAIL_PASSWORD), "never the password itself"))
        lines += _comment('Or a file that holds it alone: password_file = "secrets/mail"')
    lines.append(f"sender = {_text(mail.sender)}")
    return lines


def _folder(folder: str) -> list[str]:
    return [
        *_title("how notices leave"),
        *_comment(
            "Nothing is sent yet: every notice is left as a file in this folder. Name a mail "
            "server in [mail] and take these two lines out, and they are sent."
        ),
        "[delivery]",
        f"folder = {_text(folder)}",
        "",
        "# [mail]",
        '# host = "mail.larkspur.example"',
        '# username = "wind@larkspur.example"',
        f'# password_env = "{MAIL_PASSWORD}"',
        '# sender = "Larkspur wind <wind@larkspur.example>"',
    ]


# --- the airfield -----------------------------------------------------------------------


def _airfield(field: AirfieldAnswer) -> list[str]:
    lines = [*_title("the airfield"), *_comment(field.remark), "[[airfield]]"]
    lines += [f"id = {_text(field.id)}", f"name = {_text(field.name)}"]
    lines += _station(field)
    lines += [
        f"latitude = {_figure(field.latitude)}",
        f"longitude = {_figure(field.longitude)}",
        f"elevation_ft = {_figure(field.elevation_ft)}",
        f"time_zone = {_text(field.time_zone)}",
    ]
    if field.hours is None:
        lines += _comment("Local hours of flying; outside them runway steps wait for the opening:")
        lines.append('# operating_hours = { from = "07:00", to = "20:00" }')
    else:
        opens, closes = field.hours
        lines.append(f"operating_hours = {{ from = {_text(opens)}, to = {_text(closes)} }}")
    lines += _comment("Where the station closes at night, or reports more often than hourly:")
    lines += [
        '# reports_between = { from = "06:00", to = "22:00" }',
        '# reports_every = "30min"',
    ]
    for station in field.fall_backs:
        lines += ["", "  # Listened to while the station above is silent."]
        lines += ["  [[airfield.fall_back_station]]", f"  id = {_text(station.id)}"]
        lines += [f"  {line}" for line in _stands(station, "")]
    lines += field.runway_lines
    lines += [
        "",
        *(f"  {line}" for line in _comment("Control positions are shown for each leg:", 2)),
        "  # [[airfield.taxi_leg]]",
        '  # name = "apron to the runway"',
        "  # heading_magnetic_deg = 190",
    ]
    return lines


def _station(field: AirfieldAnswer) -> Iterator[str]:
    if not field.station_known:
        place = f"{_figure(field.latitude)},{_figure(field.longitude)}"
        yield from _comment(
            f"That it does report was not seen: ask windwatch stations --near {place}"
        )
    yield _line("station", _text(field.station.id), "who reports for it")
    if field.station.id != field.id:
        yield from _stands(field.station, "station_")


def _stands(station: StationAnswer, prefix: str) -> Iterator[str]:
    for key, value, places in (
        ("distance_nm", station.distance_nm, 1),
        ("bearing_true_deg", station.bearing_true_deg, 0),
        ("elevation_ft", station.elevation_ft, 0),
    ):
        if value is not None:
            yield f"{prefix}{key} = {_figure(round(value, places))}"


def typed_runway_lines(runways: Iterable[tuple[EndAnswer, ...]]) -> tuple[str, ...]:
    """The text of runways that somebody typed in; one end alone is one-way."""
    lines: list[str] = []
    for ends in runways:
        lines += ["", "  [[airfield.runway]]"]
        if any(end.heading_deg is None for end in ends):
            lines += [
                f"  {line}"
                for line in _comment(
                    "The number alone stands for the heading, approximate, until you add "
                    "heading_true_deg from a chart.",
                    2,
                )
            ]
        lines += ["  ends = [", *(f"    {{ {_end(end)} }}," for end in ends), "  ]"]
        if len(ends) == 1:
            lines.append("  one_way = true")
    return tuple(lines)


def _end(end: EndAnswer) -> str:
    name = f"name = {_text(end.name)}"
    if end.heading_deg is None:
        return name
    reference = "magnetic" if end.magnetic else "true"
    return f"{name}, heading_{reference}_deg = {_figure(end.heading_deg)}"


# --- aircraft, pilots, contacts -----------------------------------------------------------

_LIMITS_SAID: Final = (
    "Limits are in knots and apply to the gust. The smallest of the aircraft's, the pilot's and "
    "the runway's counts: windwatch config show. Take them from your own operations book; what "
    "is marked as common practice is nobody's rule."
)
_PILOTS_SAID: Final = "Standards of pilots, each with limits of its own."


def _aircraft(craft: AircraftAnswer, answers: Answers) -> list[str]:
    lines = [
        "[[aircraft]]",
        f"name = {_text(craft.name)}",
        _line("gear", _text(craft.gear), '"nosewheel" or "tailwheel"'),
        _line("wing", _text(craft.wing), '"high" or "low"'),
        f"based_at = {_text(answers.airfield.id)}",
    ]
    if craft.stall_speed_kt is not None:
        lines.append(_line("stall_speed_kt", _figure(craft.stall_speed_kt), "clean, KCAS"))
    if craft.demonstrated_crosswind_kt is not None:
        told = next(each for each in answers.aircraft if each.demonstrated_crosswind_kt)
        lines += _comment(NOT_A_LIMIT) if craft is told else []
        lines.append(f"demonstrated_crosswind_kt = {_figure(craft.demonstrated_crosswind_kt)}")
    flown_by = craft.flown_by or tuple(each.name for each in answers.pilots)
    if flown_by:
        lines.append(f"flown_by = {_list(flown_by)}")
    lines.append("  [aircraft.limits]")
    order = [each.key for each in AIRCRAFT_LIMITS]
    first = craft is answers.aircraft[0]
    return lines + _limits(craft.limits, craft.starters, order, explained=first)


def _pilot(pilot: PilotAnswer, answers: Answers) -> list[str]:
    order = [each.key for each in RUNWAY_LIMITS]
    return [
        "[[pilot_limits]]",
        f"name = {_text(pilot.name)}",
        "  [pilot_limits.limits]",
        *_limits(pilot.limits, pilot.starters, order, explained=pilot is answers.pilots[0]),
    ]


def _limits(
    given: Iterable[tuple[str, float]],
    starters: frozenset[str],
    order: list[str],
    *,
    explained: bool,
) -> list[str]:
    values = dict(given)
    lines = []
    for key in order:
        if key not in values:
            continue
        if explained:
            lines += textwrap.wrap(
                MEANING_OF[key], _WIDTH, initial_indent="  # ", subsequent_indent="  # "
            )
        mark = STARTER_MARK if key in starters else ""
        lines.append(f"  {_line(key, _figure(values[key]), mark)}")
    return lines


def _contact(contact: ContactAnswer) -> list[str]:
    hears = HEARS[contact.hears]
    lines = ["[[contact]]", f"name = {_text(contact.name)}"]
    lines += _comment(f"Hears {hears.meaning}.")
    if contact.email:
        lines.append(f"email = {_text(contact.email)}")
    if contact.folder:
        lines.append(_line("folder", _text(contact.folder), "notices are left here as files"))
    if contact.operator:
        lines.append(_line("operator", "true", "also hears about windwatch itself"))
    if contact.webhook:
        lines += [
            "  [contact.webhook]",
            f"  url = {_text(contact.webhook)}",
            f"  secret_env = {_text(webhook_secret(contact.name))}",
            "  # It holds the secret that signs each call; this makes one:",
            f"  #   {MAKE_ONE}",
        ]
    about = [f"aircraft = {_list(contact.aircraft)}"] if contact.aircraft else []
    about += hears.lines
    if about:
        lines += ["  [contact.tell_about]", *(f"  {line}" for line in about)]
    return lines


# --- text ------------------------------------------------------------------------------


def _title(words: str, said: str = "") -> list[str]:
    return [f"# --- {words} " + "-" * (_WIDTH - 7 - len(words)), *_comment(said)]


def _comment(words: str, indent: int = 0) -> list[str]:
    return textwrap.wrap(
        words,
        _WIDTH - indent,
        initial_indent="# ",
        subsequent_indent="# ",
        break_on_hyphens=False,
        break_long_words=False,
    )


def _line(key: str, value: str, comment: str) -> str:
    line = f"{key} = {value}"
    return f"{line:<{_COMMENT_AT}}  # {comment}" if comment else line


def _figure(value: float) -> str:
    return f"{value:.5f}".rstrip("0").rstrip(".")


def _text(value: str) -> str:
    # A basic string of TOML takes the escapes of JSON.
    return json.dumps(value, ensure_ascii=False)


def _list(values: Iterable[str]) -> str:
    return "[" + ", ".join(map(_text, values)) + "]"
