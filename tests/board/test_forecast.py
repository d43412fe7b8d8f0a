"""The forecast beside the strip: what holds is drawn and said, what does not is said alone."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.board.chromium import chromium
from tests.board.played import ROOT, Played, played
from windwatch.board import view
from windwatch.board.app import Board
from windwatch.board.as_json import as_json
from windwatch.board.forecast_values import ForecastShown
from windwatch.board.page_values import FieldPage
from windwatch.board.pages import HtmlPages
from windwatch.board.reading import Reading
from windwatch.board.server import Server
from windwatch.board.source import StoreSource
from windwatch.board.view_forecast import AHEAD, LEAST_AHEAD
from windwatch.board.words import FORECAST_NOT_JUDGED, FORECAST_THUNDER
from windwatch.feeds.recorded import read_recorded
from windwatch.reports.raw import RawReport
from windwatch.settings.running import BoardValues

HOUR = timedelta(hours=1)
ISSUED = datetime(2026, 9, 22, 17, 35, tzinfo=UTC)
AMENDED = datetime(2026, 9, 22, 21, 0, tzinfo=UTC)
ENDED = datetime(2026, 9, 23, 18, 0, tzinfo=UTC)
REPORT = "METAR XLKS 221653Z 19016G25KT 150V220 10SM SCT042 BKN250 27/18 A2975"
FORECASTS = [
    line.forecast.text
    for line in read_recorded(ROOT / "recorded_reports" / "front_day.txt")
    if line.forecast
]


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Played]:
    """Just after the first forecast, with one report; only looked at."""
    with played(tmp_path_factory.mktemp("first")) as day:
        day.take(REPORT, ISSUED - timedelta(minutes=39))
        come(day, FORECASTS[0], ISSUED)
        yield day


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Played]:
    """A day of one's own, not begun."""
    with played(tmp_path) as found:
        yield found


def page_of(day: Played, unit: str = "kt") -> FieldPage:
    return view.field_page(day.snapshot(), "XLKS", day.now, unit)


def shown(day: Played, unit: str = "kt") -> ForecastShown:
    found = page_of(day, unit).forecast
    assert found is not None
    return found


def come(day: Played, text: str, at: datetime) -> FieldPage:
    """A forecast comes, and somebody looks."""
    day.clock.set(at)
    day.forecast(RawReport(text, at, "test", kind="TAF"))
    day.beat()
    return page_of(day)


# --- what holds --------------------------------------------------------------------


def test_the_forecast_is_said_with_its_station_its_issue_and_its_end(first: Played) -> None:
    forecast = shown(first)
    assert forecast.headline == (
        "The forecast of XBRN, issued 13:30 local (17:30Z), is valid from 14:00 local (18:00Z) "
        "until 23 Sep 14:00 local (18:00Z)."
    )
    assert forecast.standing == "holds"


def test_every_wind_to_come_is_said_and_the_temporary_one_apart(first: Played) -> None:
    # reference/demo_day.md, "Forecast pair": the group, its times and its wind.
    assert [each.words for each in shown(first).winds] == [
        "14:00 to 16:00 local (18:00Z to 20:00Z): wind from 190° true, 17 kt, gust 25 kt.",
        "16:00 to 18:00 local (20:00Z to 22:00Z): wind from 200° true, 18 kt, gust 25 kt, thunder.",
        (
            "16:00 to 18:00 local (20:00Z to 22:00Z): for a time, wind from 300° true, 25 kt, "
            "gust 38 kt, thunder."
        ),
        "18:00 to 20:00 local (22:00Z to 00:00Z): wind from 310° true, 15 kt, gust 24 kt.",
        "20:00 to 23 Sep 01:00 local (00:00Z to 05:00Z): wind from 320° true, 20 kt, gust 32 kt.",
        "23 Sep 01:00 to 08:00 local (05:00Z to 12:00Z): wind from 330° true, 12 kt.",
        "23 Sep 08:00 to 14:00 local (12:00Z to 18:00Z): wind from 340° true, 8 kt.",
    ]


def test_it_says_that_it_is_not_judged_and_not_of_this_field(first: Played) -> None:
    assert shown(first).notes == (
        FORECAST_NOT_JUDGED,
        FORECAST_THUNDER,
        (
            "It is made for XBRN (25 NM from the field, bearing 270 true, 50 ft higher than the "
            "field), not for this field."
        ),
    )
    assert "not yet judged" in FORECAST_NOT_JUDGED


def test_a_forecast_of_the_fields_own_station_does_not_say_so(tmp_path: Path) -> None:
    with played(tmp_path) as day:
        fields = [replace(a, forecast_station="XLKS") for a in day.settings.fleet.airfields]
        fleet = replace(day.settings.fleet, airfields=tuple(fields))
        day.settings = replace(day.settings, fleet=fleet)
        day.reading = Reading(day.settings, day.store)
        page = come(day, "TAF XLKS 221730Z 2218/2318 19017G25KT P6SM SKC", ISSUED)
    assert page.forecast is not None
    assert page.forecast.notes == (FORECAST_NOT_JUDGED,)


def test_the_strip_reaches_twelve_hours_ahead_with_what_is_temporary_apart(first: Played) -> None:
    strip = page_of(first).strip
    assert (strip.ahead, strip.forecast_of) == (AHEAD, "XBRN") == (12 * HOUR, "XBRN")
    assert [span.temporary for span in strip.forecast].count(True) == 1


def test_no_level_no_notice_and_no_word_of_advice_depends_on_it(first: Played) -> None:
    """Shown, not yet judged: without it the page is the same, but for the strip."""
    read = first.snapshot()
    without = replace(read, fields=tuple(replace(f, forecast=None) for f in read.fields))
    one = as_json(view.field_page(read, "XLKS", first.now))
    other = as_json(view.field_page(without, "XLKS", first.now))
    assert one.pop("forecast") != other.pop("forecast")
    assert one == other


def test_in_the_readers_unit(first: Played) -> None:
    assert (
        shown(first, "m/s").winds[0].words.endswith("wind from 190° true, 8.7 m/s, gust 12.9 m/s.")
    )


def test_for_machines_in_knots_and_utc_whatever_the_reader_chose(first: Played) -> None:
    found = as_json(page_of(first, "m/s"))["forecast"]
    assert found == as_json(page_of(first))["forecast"]
    assert (found["station"], found["judged"], found["standing"]) == ("XBRN", False, "holds")
    assert found["valid_until"] == "2026-09-23T18:00:00Z"
    temporary = found["winds"][2]
    assert temporary["change"] == "temporary"
    assert temporary["from_at"] == "2026-09-22T20:00:00Z"
    assert (temporary["wind"]["speed_kt"], temporary["wind"]["gust_kt"]) == (25, 38)


def test_an_amended_one_replaces_it(day: Played) -> None:
    come(day, FORECASTS[0], ISSUED)
    come(day, FORECASTS[1], AMENDED)
    forecast = shown(day)
    assert "amended, issued 16:47 local (20:47Z)" in forecast.headline
    assert [each.wind.strongest for each in forecast.winds if each.wind] == [24, 9, 3, 6]
    assert "variable" in forecast.winds[2].words


def test_a_probability_is_said(day: Played) -> None:
    likely = "PROB30 TEMPO 2220/2222 30025G38KT PROB40 2300/2302 VRB20KT"
    page = come(day, f"TAF XBRN 221730Z 2217/2318 19017KT {likely}", ISSUED)
    assert page.forecast is not None
    words = [each.words for each in page.forecast.winds]
    assert "for a time, probability 30 %, wind from 300°" in words[1]
    assert "probability 40 %" in words[2]
    assert page.forecast.winds[1].probability_percent == 30


# --- what does not hold ------------------------------------------------------------


def nothing_drawn(page: FieldPage, standing: str, said: str) -> None:
    assert page.forecast is not None
    assert page.forecast.standing == standing
    assert said in page.forecast.headline
    assert page.forecast.winds == ()
    assert page.strip.forecast == ()
    assert page.strip.ahead == timedelta(0)
    assert FORECAST_NOT_JUDGED not in page.forecast.notes


def test_none_has_come(day: Played) -> None:
    nothing_drawn(page_of(day), "none", "No forecast of XBRN has come.")


def test_one_that_has_ended_is_said_and_not_drawn(day: Played) -> None:
    come(day, FORECASTS[1], AMENDED)
    day.wait(ENDED - timedelta(minutes=1))
    assert shown(day).standing == "holds"
    assert page_of(day).strip.ahead == LEAST_AHEAD
    version = day.snapshot().version(day.now)
    day.wait(ENDED)
    # A page that is open is made anew at that very moment.
    assert day.snapshot().version(day.now) != version
    nothing_drawn(page_of(day), "ended", "ended 14:00 local (18:00Z); none newer has come.")


def test_one_that_was_cancelled_is_not_drawn_nor_the_one_before(day: Played) -> None:
    come(day, FORECASTS[0], ISSUED)
    page = come(day, "TAF AMD XBRN 221900Z 2219/2318 CNL", ISSUED + 2 * HOUR)
    nothing_drawn(page, "cancelled", "says that it is cancelled; none newer has come.")


def test_one_that_was_not_made_is_no_calm(day: Played) -> None:
    come(day, FORECASTS[0], ISSUED)
    page = come(day, "TAF XBRN 221900Z NIL", ISSUED + 2 * HOUR)
    nothing_drawn(page, "not made", "says that none was made; none newer has come.")


@pytest.mark.parametrize("text", ["TAF XBRN 221730Z 19017G25KT", "TAF XBRN 221730Z 2217/2318 P6SM"])
def test_one_that_cannot_be_read_is_not_drawn(day: Played, text: str) -> None:
    page = come(day, text, ISSUED)
    nothing_drawn(page, "unreadable", "could not be read: it is not drawn.")
    assert page.forecast is not None
    assert page.forecast.raw == text


def test_what_of_it_could_not_be_read_is_said(day: Played) -> None:
    page = come(day, "TAF XBRN 221730Z 2217/2318 19017KT FM229900 30025G38KT", ISSUED)
    assert page.forecast is not None
    assert page.forecast.standing == "holds"
    assert any("FM229900" in note for note in page.forecast.notes)


def test_without_a_station_for_it_there_is_nothing(tmp_path: Path) -> None:
    with played(tmp_path) as day:
        come(day, FORECASTS[0], ISSUED)
        fields = [replace(a, forecast_station=None) for a in day.settings.fleet.airfields]
        fleet = replace(day.settings.fleet, airfields=tuple(fields))
        settings = replace(day.settings, fleet=fleet)
        page = view.field_page(Reading(settings, day.store).snapshot(day.now), "XLKS", day.now)
    assert page.forecast is None
    assert page.strip.forecast == ()
    assert as_json(page)["forecast"] is None


# --- as people see it --------------------------------------------------------------

HOSTILE = "TAF XBRN 221730Z 2217/2318 19017G25KT <script>document.title='x'</script> \"><img src=x>"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


def test_in_a_browser_it_stands_under_the_strip_and_hostile_text_stays_text(
    day: Played, browser: Any
) -> None:
    come(day, HOSTILE.replace("221730Z", "221734Z"), ISSUED)
    source = StoreSource(day.settings, day.store)
    board = Board(BoardValues(), source, HtmlPages(), day.clock)
    with Server(board, "127.0.0.1", 0) as server:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.goto(f"{server.url}/field/XLKS")
        strip = page.locator("section[aria-labelledby=strip-h]")
        assert strip.locator("h2").inner_text() == "The last 24 hours and the forecast"
        # Folded on a phone, until somebody opens it.
        assert not strip.locator(".forecast").is_visible()
        strip.locator("summary").first.click()
        said = strip.locator(".forecast").inner_text()
        assert "The forecast of XBRN, issued 13:34 local (17:34Z)" in said
        assert "not yet judged" in said
        assert page.title() != "x"
        strip.locator("summary").last.click()
        assert "<script>" in strip.locator("pre").inner_text()
        assert page.locator(".forecast img, .forecast script").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
        assert strip.locator(".strip-narrow [data-part=forecast]").count() == 1
        # In its words, for whoever does not see it.
        assert "Forecast" in strip.locator(".strip-narrow desc").text_content()
        page.close()
