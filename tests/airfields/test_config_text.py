"""What `config check` takes as it stands, and what is only a comment, with the reason."""

import re
import tomllib
from datetime import date

import pytest

from tests.airfields.conftest import AIRPORTS, COPIED, RUNWAYS
from windwatch.airfields.config_text import as_toml
from windwatch.airfields.rebuild import rebuild, table_bytes, write_table
from windwatch.airfields.table import find_airfield, open_table
from windwatch.settings.read import read_settings
from windwatch.wind import HeadingFromDesignator, HeadingTrue

DAY = date(2026, 9, 22)


@pytest.fixture
def with_runway(files, tmp_path):
    """The text for the strip, with its one runway changed."""

    def make(*changes, **airport):
        runways = [{**RUNWAYS[3], **each} for each in changes or ({},)]
        airports = [{**AIRPORTS[1], **airport}, AIRPORTS[0]]
        made = rebuild(*files(airports, [*runways, RUNWAYS[0]]), COPIED)
        write_table(tmp_path / "t", table_bytes(made.rows, made.provenance))
        return as_toml(find_airfield(airport.get("ident", "XBRN"), DAY, open_table(tmp_path / "t")))

    return make


@pytest.fixture
def checked(root, tmp_path):
    """The fleet and warnings of a configuration with that text in place of its airfield."""

    def check(text):
        minimal = (root / "config" / "minimal.toml").read_text(encoding="utf-8")
        before, rest = minimal.split("[[airfield]]")
        after = rest[rest.index("[[aircraft]]") :]
        name = tomllib.loads(text)["airfield"][0]["id"]
        path = tmp_path / "field.toml"
        after = after.replace('based_at = "XLKS"', f'based_at = "{name}"')
        path.write_text(before + text + after, encoding="utf-8")
        settings = read_settings([path], {}, require_secrets=False)
        return settings.fleet.airfields[0], settings.warnings

    return check


def headings(airfield):
    return [end.heading for runway in airfield.runways for end in runway.ends]


def test_a_surveyed_airfield_passes_without_a_warning(small, checked):
    text = as_toml(find_airfield("XLKS", DAY, small))
    airfield, warnings = checked(text)
    assert warnings == ()
    assert (airfield.id, airfield.name, airfield.elevation_ft) == ("XLKS", "Larkspur", 960)
    assert (airfield.latitude, airfield.longitude) == (42.93, -76.02)
    assert airfield.time_zone == "America/New_York"
    assert [runway.name for runway in airfield.runways] == ["10/28"]
    assert headings(airfield) == [HeadingTrue(91.4), HeadingTrue(271.4)]
    assert "# Left out: it is closed in the table." in text
    assert "copy of 2026-09-22" in text


def test_a_number_alone_stays_a_number_and_config_check_asks_for_more(with_runway, checked):
    airfield, warnings = checked(with_runway())
    assert headings(airfield) == [HeadingFromDesignator(10.0), HeadingFromDesignator(190.0)]
    assert len(warnings) == 2
    assert "approximate" in warnings[0]


def test_a_heading_that_is_not_settled_is_not_taken(with_runway, checked):
    text = with_runway({"le_heading_degT": "75"})
    airfield, warnings = checked(text)
    assert headings(airfield) == [HeadingFromDesignator(10.0), HeadingFromDesignator(190.0)]
    flat = re.sub(r"\s*#\s*|\s+", " ", text)
    assert "DOUBTFUL: for 1 the stated heading gives 75° true and the number" in flat
    assert "No heading is taken" in flat
    assert warnings


def test_a_doubtful_heading_with_a_second_figure_is_taken_and_called_doubtful(with_runway, checked):
    text = with_runway({"le_heading_degT": "358", "he_heading_degT": "300"})
    assert headings(checked(text)[0]) == [HeadingTrue(358.0), HeadingTrue(178.0)]
    assert "DOUBTFUL: the stated headings 358° true and 300° true" in re.sub(r"\s*#\s*", " ", text)


def test_compass_points_are_taken_and_called_approximate(with_runway, checked):
    text = with_runway({"le_ident": "E", "he_ident": "W"})
    airfield, warnings = checked(text)
    assert headings(airfield) == [
        HeadingTrue(90.0, approximate=True),
        HeadingTrue(270.0, approximate=True),
    ]
    assert "its heading is called approximate, so every figure is" in warnings[0]
    assert "approximate: compass point of its name" in re.sub(r"\s*#\s*", " ", text)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"le_ident": "ALL", "he_ident": "WAY"}, "nothing tells its headings"),
        ({"le_ident": "161", "he_ident": "341", "le_heading_degT": "161"}, "no runway numbers"),
        ({"le_ident": "07", "he_ident": "20"}, "its figures disagree"),
        ({"le_ident": "", "he_ident": ""}, "no names that can be used"),
        ({"closed": "1"}, "it is closed in the table"),
    ],
)
def test_what_cannot_be_taken_is_a_comment_with_its_reason(with_runway, checked, changes, reason):
    text = with_runway(changes, {"le_ident": "04", "he_ident": "22"})
    airfield, _ = checked(text)
    assert [runway.name for runway in airfield.runways] == ["04/22"]
    assert re.search(f"Left out: [a-z ]*{reason}", re.sub(r"\s*#\s*", " ", text))
    alone = with_runway(changes)
    assert "runway" not in tomllib.loads(alone)["airfield"][0]
    assert "No runway of it can be taken as it stands" in re.sub(r"\s*#\s*", " ", alone)


def test_two_runways_of_one_name_become_one(with_runway, checked):
    text = with_runway({"length_ft": "900"}, {"le_ident": "01", "length_ft": "1200"})
    airfield, _ = checked(text)
    assert [runway.name for runway in airfield.runways] == ["01/19"]
    assert "another end has the same name" in re.sub(r"\s*#\s*", " ", text)


def test_an_airfield_without_a_station_names_the_nearest_and_asks(with_runway, checked):
    text = with_runway({"airport_ident": "US-9002"}, ident="US-9002")
    airfield, _ = checked(text)
    assert (airfield.id, airfield.station.id) == ("US-9002", "XLKS")
    flat = re.sub(r"\s*#\s*|\s+", " ", text)
    assert "nearest larger airport, Larkspur, 16 NM away: does it report" in flat


def test_what_is_not_known_is_said_in_a_comment(with_runway, checked):
    text = with_runway(iso_country="", iso_region="")
    assert "The table does not know its elevation: write it here." in text
    assert "Its time zone is not known: write it here." in text
    assert checked(text)[0].time_zone == "UTC"


def test_any_name_gives_valid_text(with_runway, checked):
    name = 'Bräck"en\\ ' + "x" * 100
    airfield, _ = checked(with_runway(name=name))
    assert airfield.name == name[:60]


def test_no_line_is_wider_than_a_terminal(with_runway):
    text = with_runway(name="w" * 80, municipality="v" * 80)
    assert all(len(line) <= 80 for line in text.splitlines() if "name =" not in line)
