"""`windwatch teach`: a teaching sheet on holding the controls, as one file to print."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import click

from windwatch.airframe import WingPosition
from windwatch.airmanship.control_positions import STANDING, control_positions
from windwatch.assessment.values import Level
from windwatch.cli.now import ask_feed, supposed_report, supposed_wind
from windwatch.cli.now_json import Shown, known
from windwatch.cli.show import (
    examples,
    hanging,
    load_settings,
    paragraph,
    print_json,
    with_exit_status,
)
from windwatch.cli.taxi import GEARS, card_rows
from windwatch.cli.wind_option import Given, given, heading_options, wind_options
from windwatch.cli.wind_words import first_upper, wind_in_words
from windwatch.clock import SystemClock
from windwatch.delivery.folder import replace_file
from windwatch.drawings.control_card import Craft
from windwatch.drawings.wind_words import wind_sentence
from windwatch.errors import FeedError, NoUsableReports, UsageError
from windwatch.fleet import TAXI, Aircraft, Airfield, Fleet
from windwatch.notices.advice import legs_of, on_leg
from windwatch.notices.words import against, minutes
from windwatch.reports.values import Report
from windwatch.settings.running import Settings
from windwatch.teaching import words
from windwatch.teaching.as_json import sheet_json
from windwatch.teaching.page import sheet_html
from windwatch.teaching.questions import around_the_aeroplane, on_headings, on_legs, shuffled
from windwatch.teaching.values import Sheet
from windwatch.wind import Knots

NO_SHEET: Final = (
    "no sheet was made. Suppose a wind with --wind 24018G30KT, or make a sheet without a field "
    "with --gear nosewheel"
)
DEFAULT_OUT: Final = Path("teaching-sheet.html")
# Strong enough that every position matters, and usual on a flying day: a choice, said on the sheet.
DEFAULT_STRENGTH: Final = Knots(15.0)


@click.command(
    epilog=examples(
        "windwatch teach --gear tailwheel --wing high",
        "windwatch teach --gear nosewheel --wind 24018G30KT --shuffle tuesday",
        "windwatch teach field.toml --aircraft X-LARK",
    )
)
@click.argument("config", nargs=-1, type=click.Path(path_type=Path))
@click.option("--gear", type=click.Choice(list(GEARS)), help="For this gear, without a CONFIG.")
@click.option(
    "--wing",
    type=click.Choice([wing.value for wing in WingPosition]),
    help="For this wing, without a CONFIG; high if not given.",
)
@wind_options
@heading_options
@click.option("--airfield", "airfield_id", metavar="ID", help="Which airfield of CONFIG.")
@click.option("--aircraft", "aircraft_name", metavar="NAME", help="One aircraft of CONFIG only.")
@click.option("--report", "report_text", help="Suppose this report; with CONFIG.")
@click.option("--shuffle", metavar="SEED", help="Questions in an order that this word decides.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help=f"File to write; {DEFAULT_OUT} if not given.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document; a file only with --out.")
@with_exit_status
def teach(
    config: tuple[Path, ...],
    gear: str | None,
    wing: str | None,
    wind: str | None,
    wind_magnetic: str | None,
    heading_true: float | None,
    heading_magnetic: float | None,
    variation: float | None,
    at: str | None,
    on: str | None,
    airfield_id: str | None,
    aircraft_name: str | None,
    report_text: str | None,
    shuffle: str | None,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Make a teaching sheet on holding the controls while taxiing, to print.

    Questions first, then answers with the reasons. With --gear: eight winds around an aeroplane,
    or the headings of one wind. With CONFIG: the airfield's own taxi legs in the wind that it
    has now (asked once; nothing is stored or sent), or in a supposed one.
    """
    path = out if out is not None or as_json else DEFAULT_OUT
    if path is not None:
        _refuse(path, force=force)
    if config:
        _only_without("a configuration", gear=gear, wing=wing, wind_magnetic=wind_magnetic,
                      heading_true=heading_true, heading_magnetic=heading_magnetic,
                      variation=variation, at=at, on=on)  # fmt: skip
        sheet = _of_field(config, airfield_id, aircraft_name, wind, report_text)
    else:
        _only_without("--gear alone, so name a configuration", airfield=airfield_id,
                      aircraft=aircraft_name, report=report_text)  # fmt: skip
        if gear is None:
            raise UsageError(
                "which aeroplane? Add --gear nosewheel or --gear tailwheel, or name a configuration"
            )
        craft = Craft(GEARS[gear], WingPosition(wing or WingPosition.HIGH.value))
        nothing = (wind, wind_magnetic, heading_true, heading_magnetic, variation, at, on)
        if nothing == (None,) * len(nothing):
            sheet = _around(craft)
        else:
            sheet = _in_wind(
                craft,
                given(wind, wind_magnetic, heading_true, heading_magnetic, variation, at, on),
            )
    if shuffle is not None:
        sheet = sheet._replace(questions=shuffled(sheet.questions, shuffle), order=shuffle)
    if path is not None:
        _write(path, sheet_html(sheet))
    if as_json:
        print_json({"file": None if path is None else str(path), **sheet_json(sheet)})
    else:
        click.echo(paragraph(f"Teaching sheet, {_counted(sheet)}: {sheet.about}. "
                             f"{' '.join((*sheet.wind, *sheet.warnings))}"))  # fmt: skip
        click.echo(hanging(f"Print it on A4 or Letter: {path}"))


def _refuse(path: Path, *, force: bool) -> None:
    """Refuse early what could not be written in the end."""
    if path.is_dir():
        raise UsageError(f"{path} is a folder; name a file with --out")
    if path.exists() and not force:
        raise UsageError(f"{path} is there already; name another with --out, or add --force")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}; make it, or name another with --out")


def _only_without(which: str, **options: object) -> None:
    """Refuse options that the other kind of sheet has."""
    given_too = [f"--{name.replace('_', '-')}" for name, value in options.items() if value]
    if given_too:
        raise UsageError(f"{', '.join(given_too)} does not go with {which}")


def _write(path: Path, page: str) -> None:
    try:
        replace_file(path, page.encode())
    except OSError as error:
        raise UsageError(
            f"{path} cannot be written: {error.strerror or error}; name a file elsewhere"
        ) from None


def _counted(sheet: Sheet) -> str:
    number = len(sheet.questions)
    return "1 question" if number == 1 else f"{number} questions"


# --- for a kind of aeroplane ------------------------------------------------------


def _around(craft: Craft) -> Sheet:
    """Eight winds of a usual strength."""
    questions = around_the_aeroplane(DEFAULT_STRENGTH, None, craft.gear, craft.wing)
    return Sheet(
        first_upper(words.craft_words(craft)),
        (words.STRENGTH.format(speed=f"{DEFAULT_STRENGTH:g}"),),
        questions,
        wall=tuple(question.positions for question in questions),
    )


def _in_wind(craft: Craft, asked: Given) -> Sheet:
    """One heading, or all eight, in a supposed wind."""
    airframe = craft.gear, craft.wing
    if asked.heading is None:
        rows = card_rows(asked, airframe, STANDING)
    else:
        found = control_positions(asked.wind, asked.heading, *airframe)
        rows = ((asked.heading, found),)
    said = first_upper(wind_in_words(asked.wind, asked.reference))
    questions = on_headings(rows, craft, asked.reference)
    from_the_nose = rows[0][0] is None
    return Sheet(
        first_upper(words.craft_words(craft)),
        (words.SUPPOSED, f"{said}.", *asked.how),
        questions,
        wall=tuple(positions for _, positions in rows) if from_the_nose else (),
    )


# --- for a field of the configuration ---------------------------------------------


def _of_field(
    config: tuple[Path, ...],
    airfield_id: str | None,
    aircraft_name: str | None,
    wind: str | None,
    report_text: str | None,
) -> Sheet:
    """The taxi legs of one airfield in the wind that it has, or in a supposed one."""
    if wind is not None and report_text is not None:
        raise UsageError("--wind and --report are two ways of supposing; give one of them")
    settings = load_settings(config, require_secrets=False)
    airfield, craft = chosen(settings.fleet, airfield_id, aircraft_name)
    shown, moment = _wind_of(settings, airfield, wind, report_text)
    report = shown.report
    if report is None or report.wind is None or not known(shown):
        raise NoUsableReports(_no_wind(shown, moment))
    legs = [on_leg(leg, report.wind, craft, shown.plan.variation_deg) for leg in legs_of(airfield)]
    return Sheet(
        f"{airfield.id} {airfield.name}",
        _told(shown, report),
        on_legs(legs),
        _warnings(shown, craft),
    )


def chosen(
    fleet: Fleet, airfield_id: str | None, aircraft_name: str | None
) -> tuple[Airfield, tuple[Aircraft, ...]]:
    """Which airfield and which aircraft the sheet is for.

    Raises
    ------
    UsageError
        If a name is not in the configuration, or there are several and none was chosen.
    """
    named = [each for each in fleet.aircraft if each.name == aircraft_name]
    if aircraft_name is not None and not named:
        names = ", ".join(each.name for each in fleet.aircraft) or "none"
        raise UsageError(f"no aircraft {aircraft_name!r} is configured; there are: {names}")
    wanted = airfield_id or (named[0].based_at if named else None)
    fields = [each for each in fleet.airfields if wanted in {None, each.id}]
    names = ", ".join(each.id for each in fleet.airfields)
    if not fields:
        raise UsageError(f"no airfield {wanted!r} is configured; there are: {names}")
    if len(fields) > 1:
        raise UsageError(f"which airfield? Add --airfield with one of: {names}")
    craft = tuple(named) or fleet.based_at(fields[0].id)
    if not craft:
        raise UsageError(f"no aircraft is based at {fields[0].id}; name one with --aircraft")
    return fields[0], craft


def _wind_of(
    settings: Settings, airfield: Airfield, wind: str | None, report_text: str | None
) -> tuple[Shown, datetime]:
    clock = SystemClock()
    moment = clock.now()
    if wind is not None:
        return supposed_wind(settings.fleet, airfield, wind, moment), moment
    if report_text is not None:
        found = supposed_report(settings.fleet, report_text, moment)
    else:
        try:
            found = ask_feed(settings, clock, moment)
        except FeedError as error:
            raise NoUsableReports(f"{error}; {NO_SHEET}") from error
    mine = [shown for shown in found if shown.airfield == airfield]
    if not mine:
        raise UsageError(
            f"--report: it is from no station of {airfield.id}; give one of its own, or --wind"
        )
    return mine[0], moment


def _no_wind(shown: Shown, moment: datetime) -> str:
    """Why there is no sheet, and what can be done."""
    report, field = shown.report, shown.airfield
    if report is None or report.observed_at is None:
        why = f"no report with a wind came for {field.id}"
    elif report.wind is None:
        why = f"the report of {report.station} has no wind, which is not calm"
    else:
        age = minutes(moment - report.observed_at)
        why = f"the newest wind of {field.id} ({report.station}) is {age} old, too old to count"
    return f"{why}; {NO_SHEET}"


def _told(shown: Shown, report: Report) -> tuple[str, ...]:
    """Which wind the sheet is about, and whose it is."""
    said = f"{wind_sentence(report.wind)}."
    if shown.supposed:
        is_wind_only = report.raw.startswith("supposed ")
        return (words.SUPPOSED, said) if is_wind_only else (words.SUPPOSED, said, _raw(report))
    field = shown.airfield
    told = [said]
    if report.observed_at is not None:
        zone = ZoneInfo(field.time_zone)
        told.append(words.observed(report.station, report.observed_at, zone))
    if report.station != field.station.id:
        told.append(words.FALL_BACK.format(station=report.station, own=field.station.id))
    return (*told, _raw(report))


def _raw(report: Report) -> str:
    return f"Report: {report.raw}"


def _warnings(shown: Shown, craft: tuple[Aircraft, ...]) -> tuple[str, ...]:
    """What this wind is past while taxiing: nobody shall take the sheet out into it."""
    judged = shown.assessment
    if judged is None:
        return ()
    names = {each.name for each in craft}
    told = [
        words.PAST_LIMIT.format(whose=found.aircraft, figures=against(found.finding))
        for found in judged.ground
        if found.aircraft in names
        and found.finding.quantity == TAXI
        and found.finding.level is Level.OVER
    ]
    if judged.thunder is not None and judged.thunder.level is not Level.WITHIN:
        reasons = "; ".join(judged.thunder.reasons)
        told.append(words.THUNDER.format(level=judged.thunder.level.word, reasons=reasons))
    return (*told, words.CLASSROOM) if told else ()
