"""``windwatch decode``: what reports say of the wind, one report a line."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO, Final

import click

from windwatch import clock
from windwatch.cli.show import (
    examples,
    iso,
    moment_of,
    paragraph,
    print_json,
    with_exit_status,
)
from windwatch.cli.wind_words import degrees, first_upper, knots, wind_in_words
from windwatch.errors import NoUsableReports, UsageError
from windwatch.reports.as_json import wind_as_json
from windwatch.reports.decode import decode_report
from windwatch.reports.forecast import Forecast, Spell
from windwatch.reports.taf import decode_forecast
from windwatch.reports.values import Report
from windwatch.wind import PeakWind

# Four times the longest report that is read: a file without line breaks must not fill the memory.
_LONGEST_LINE: Final = 8000
_SHOWN: Final = 300
# A line of a recorded file begins with the time of receipt; it also settles day and hour.
_RECEIVED: Final = re.compile(r"(?P<at>\d{4}-\d\d-\d\dT[0-9:.]{4,15}Z) ")


@click.command(
    epilog=examples(
        "windwatch decode reports.txt",
        'echo "SPECI XLKS 221907Z 30028G41KT 1SM +TSRA SQ" | windwatch decode',
        "windwatch decode --json --now 2026-09-22T19:10Z - < reports.txt",
    )
)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True), default="-")
@click.option(
    "--now",
    metavar="TIME",
    help="Moment against which day and hour are resolved, in ISO form; the clock's without.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line instead of words.")
@with_exit_status
def decode(file: str, now: str | None, as_json: bool) -> None:
    """Read reports (METAR, SPECI, TAF), one a line, and say what they say of the wind.

    FILE is a text file; without it, or with "-", reports come from the standard input. Empty
    lines are passed over; a line that is no report is named, and the rest goes on. Of a
    forecast (TAF) every spell of wind is said; in JSON they are "spells", and "observed_at" is
    the time of issue.
    """
    moment = clock.utc_now() if now is None else moment_of(now)
    usable = 0
    with ExitStack() as opened:
        stream: BinaryIO = sys.stdin.buffer
        if file != "-":
            stream = opened.enter_context(Path(file).open("rb"))
        for line in lines_of(stream):
            received, text = _received(line)
            at = received or moment
            report = decode_report(text, at)
            usable += bool(report.station)
            forecast = decode_forecast(text, at) if report.kind == "TAF" else None
            if forecast is not None and forecast.station:
                if as_json:
                    print_json(forecast_as_json(line, forecast), one_line=True)
                else:
                    click.echo(forecast_in_words(forecast))
            elif as_json:
                print_json(report_as_json(line, report), one_line=True)
            else:
                click.echo(report_in_words(line, report))
    if not usable:
        raise NoUsableReports("no line is a report that can be read")


def lines_of(stream: BinaryIO) -> Iterator[str]:
    """Lines with something in them; bytes that are no UTF-8 become replacement marks."""
    while piece := stream.readline(_LONGEST_LINE):
        rest = piece
        while not rest.endswith(b"\n") and (rest := stream.readline(_LONGEST_LINE)):
            pass  # the rest of an overlong line belongs to no report
        if line := piece.decode(errors="replace").strip():
            yield line


def _received(line: str) -> tuple[datetime | None, str]:
    """The time of receipt at the beginning of a recorded line, if there is one, and the report."""
    found = _RECEIVED.match(line)
    if found is None:
        return None, line
    try:
        return moment_of(found["at"]), line[found.end() :]
    except UsageError:
        return None, line


def report_as_json(line: str, report: Report) -> dict[str, Any]:
    """Keys as design.md section 5 has them; a line that is no report keeps only its text.

    Parameters
    ----------
    line : str
        As it came.
    report : Report
        As decoded.
    """
    if not report.station:
        return {"raw": line, "problems": list(report.problems)}
    return {
        "raw": line,
        "station": report.station,
        "kind": report.kind,
        "observed_at": iso(report.observed_at),
        "corrected": report.corrected,
        "automatic": report.automatic,
        "wind": wind_as_json(report.wind),
        "peak_wind": None if report.peak_wind is None else _peak_as_json(report.peak_wind),
        "problems": list(report.problems),
    }


def forecast_as_json(line: str, forecast: Forecast) -> dict[str, Any]:
    """Keys of a report, and ``spells``: the timeline of winds.

    Parameters
    ----------
    line : str
        As it came.
    forecast : Forecast
        As decoded. It has no observed wind; its time is that of its issue.
    """
    return {
        "raw": line,
        "station": forecast.station,
        "kind": "TAF",
        "observed_at": iso(forecast.issued_at),
        "corrected": forecast.corrected,
        "automatic": False,
        "wind": None,
        "peak_wind": None,
        "problems": _problems(forecast),
        "spells": [
            {
                "change": spell.change.value,
                "from": iso(spell.from_at),
                "to": iso(spell.to_at),
                "probability_percent": spell.probability_percent,
                "wind": wind_as_json(spell.wind),
                "group": spell.group,
            }
            for spell in forecast.spells
        ],
    }


def _problems(forecast: Forecast) -> list[str]:
    """What is wrong; that there is no forecast is said first."""
    nothing = [
        said
        for said, so in (
            ("NIL: no forecast was made", forecast.nil),
            ("CNL: the forecast is cancelled, and the one before it with it", forecast.cancelled),
        )
        if so
    ]
    return [*nothing, *forecast.problems]


def _peak_as_json(peak: PeakWind) -> dict[str, Any]:
    return {
        "direction_true_deg": _whole(peak.wind_from),
        "speed_kt": _whole(peak.speed),
        "speed_at_least": peak.at_least,
        "at": iso(peak.at),
    }


def _whole(figure: float) -> float:
    return int(figure) if float(figure).is_integer() else float(figure)


def report_in_words(line: str, report: Report) -> str:
    """Two lines a report: who and when; the wind. A line more for each problem."""
    if not report.station:
        # Only what can be seen: a stray byte of a file must not steer the terminal.
        seen = "".join(char if char.isprintable() else " " for char in line[:_SHOWN])
        return "\n".join(
            (paragraph(f"No report: {seen}", hang="  "), *_problem_lines(report.problems))
        )
    words = [
        report.station,
        report.kind,
        "time unknown" if report.observed_at is None else _dated(report.observed_at),
        *(["corrected"] if report.corrected else []),
        *(["automatic"] if report.automatic else []),
    ]
    said = f"{first_upper(wind_in_words(report.wind))}."
    if report.peak_wind is not None:
        peak = report.peak_wind
        least = "at least " if peak.at_least else ""
        said += (
            f" Peak wind {degrees(peak.wind_from)} true, {least}{knots(peak.speed)} "
            f"at {peak.at.astimezone(UTC):%H:%MZ}."
        )
    return "\n".join(
        (
            paragraph(", ".join(words), hang="  "),
            paragraph(said, indent="  "),
            *_problem_lines(report.problems),
        )
    )


def forecast_in_words(forecast: Forecast) -> str:
    """Who, when and for how long; a line for each spell of wind, and for each problem."""
    words = [
        forecast.station,
        "TAF",
        "time of issue unknown"
        if forecast.issued_at is None
        else f"issued {_dated(forecast.issued_at)}",
        *(["amended"] if forecast.amended else []),
        *(["corrected"] if forecast.corrected else []),
    ]
    return "\n".join(
        (
            paragraph(", ".join(words), hang="  "),
            *(paragraph(_spell_in_words(s), indent="  ", hang="    ") for s in forecast.spells),
            *_problem_lines(_problems(forecast)),
        )
    )


def _spell_in_words(spell: Spell) -> str:
    """From when to when, in which way, and the wind."""
    way = spell.change.value
    if spell.probability_percent is not None:
        way += f", {spell.probability_percent} %"
    wind = "no wind of its own" if spell.wind is None else wind_in_words(spell.wind)
    return f"{_day_and_hour(spell.from_at)} to {_day_and_hour(spell.to_at)}, {way}: {wind}."


def _day_and_hour(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%d %H:%MZ}"


def _problem_lines(problems: Iterable[str]) -> Iterator[str]:
    for problem in problems:
        yield paragraph(f"problem: {problem}", indent="  ", hang="    ")


def _dated(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%MZ}"
