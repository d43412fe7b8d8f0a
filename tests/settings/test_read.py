"""A configuration that is right becomes frozen values."""

import base64
import dataclasses
import os
import re
import tomllib
from datetime import time, timedelta
from pathlib import Path

import pytest

from windwatch import fleet
from windwatch.airframe import Gear, WingPosition
from windwatch.errors import SettingsError
from windwatch.notices.outbox import Route
from windwatch.settings.read import read_settings
from windwatch.settings.running import ContactAddresses, JsonMapping, Settings
from windwatch.settings.secret import Secret
from windwatch.wind import HeadingFromDesignator, HeadingMagnetic, HeadingTrue
from windwatch.wiring import make_channels

RIGHT: str = tomllib.loads((Path(__file__).parent / "broken.toml").read_text(encoding="utf-8"))[
    "right"
]
SIGNING = "whsec_" + base64.b64encode(bytes(range(32))).decode()
ENVIRON = {
    "WINDWATCH_MAIL_PASSWORD": "hunter2",
    "WINDWATCH_DESK_SECRET": SIGNING,
    "WINDWATCH_DEMO_SECRET": SIGNING,
}
DELIVERY = '[delivery]\nfolder = "notices"\n'
MAIL = 'email = "ops@larkspur.example"\n'


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(*changes: tuple[str, str], environ=ENVIRON, **how) -> Settings:
    text = RIGHT
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    Path("field.toml").write_text(text, encoding="utf-8")
    return read_settings([Path("field.toml")], environ, **how)


# --- the configurations that come with windwatch -----------------------------


def test_every_configuration_in_the_folder_loads(root):
    files = sorted((root / "config").glob("*.toml"))
    assert {"demo.toml", "larkspur.toml", "minimal.toml"} <= {file.name for file in files}
    for file in files:
        assert read_settings([file], ENVIRON).warnings == ()


def test_the_demo_loads_without_its_secret_and_says_so(root, monkeypatch):
    monkeypatch.chdir(root)
    settings = read_settings([Path("config/demo.toml")], {})
    assert len(settings.warnings) == 1
    assert re.fullmatch(
        r"config/demo\.toml:\d+: contact operations desk, webhook\.secret_env: the environment "
        r"variable WINDWATCH_DEMO_SECRET is not set, which matters once notices are really sent; "
        r"set it before windwatch starts, as WINDWATCH_DEMO_SECRET=…",
        settings.warnings[0],
    )
    assert settings.feed.files == (Path("recorded_reports/front_day.txt"),)
    assert settings.delivery.folder == Path("demo-notices")


def test_the_worked_example_can_be_checked_without_its_secrets(root):
    with pytest.raises(SettingsError) as error:
        read_settings([root / "config" / "larkspur.toml"], {})
    assert [fault.key for fault in error.value.faults] == [
        "mail.password_env",
        "contact operations desk, webhook.secret_env",
    ]
    checked = read_settings([root / "config" / "larkspur.toml"], {}, require_secrets=False)
    assert len(checked.warnings) == 2


def test_the_worked_example_in_values(root):
    settings = read_settings([root / "config" / "larkspur.toml"], ENVIRON)
    assert settings.mail is not None
    assert (settings.mail.port, settings.mail.security) == (587, "starttls")
    assert settings.mail.password == Secret("hunter2")
    assert settings.feed.every == timedelta(minutes=2)

    larkspur, strip = settings.fleet.airfields
    assert larkspur.operating_hours == fleet.OperatingHours(time(7), time(20))
    assert larkspur.fall_back_stations == (fleet.Station("XBRN", 25, 270, 1010),)
    assert strip.station == fleet.Station("XBRN", 6, 40, 1010)
    assert (larkspur.variation_deg, strip.variation_deg) == (None, -11.5)
    east_west, north_south = larkspur.runways
    assert east_west.name == "10/28"
    assert east_west.ends[1].heading == HeadingTrue(271.4)
    assert east_west.notes[0].sector_true == (200, 250)
    assert north_south.ends[0].heading == HeadingMagnetic(13)
    assert north_south.limits == (fleet.Limit("crosswind", 12, "runway 1/19"),)
    assert north_south.uses == ("X-LARK", "X-WREN")
    assert [end.name for end in strip.runways[0].ends] == ["24"]

    lark = settings.fleet.aircraft[0]
    assert (lark.gear, lark.wing) == (Gear.NOSEWHEEL, WingPosition.HIGH)
    assert [limit.quantity for limit in lark.limits] == [
        *fleet.RUNWAY_QUANTITIES,
        *fleet.GROUND_QUANTITIES,
        "towing",
        "hangar_doors",
    ]
    wind = next(limit for limit in lark.limits if limit.quantity == "wind")
    assert wind == fleet.Limit("wind", 28, "X-LARK", near_at=0.9, confirm_reports=2)
    wren = settings.fleet.aircraft[2]
    assert wren.limits[0] == fleet.Limit("crosswind", 10, "X-WREN", of=fleet.Of.MEAN)
    assert settings.fleet.pilot_limits["dual"].limits == (fleet.Limit("wind", 28, "dual"),)

    desk = settings.fleet.contacts[0]
    assert desk.channels == ("webhook", "email")
    assert desk.operator
    assert desk.tell_about == fleet.TellAbout(
        runways=fleet.RunwaySteps.EACH, levels=("near", "over", "unknown"), easing=True
    )
    webhook = settings.addresses["operations desk"].webhook
    assert webhook is not None
    assert webhook.secrets == (Secret(SIGNING),)
    assert settings.addresses["strip notice board"].folder == root / "windwatch-notices"


def test_the_least_that_works(root):
    settings = read_settings([root / "config" / "minimal.toml"], {})
    airfield = settings.fleet.airfields[0]
    assert airfield.station == fleet.Station("XLKS")
    assert airfield.name == "XLKS"
    assert settings.fleet.contacts[0].channels == ("folder",)
    assert settings.store.path == root / "config" / "windwatch.db"
    assert settings.mail is None


# --- single keys ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "ages_min"),
    [
        # every, stale, told: reliability.md section 2 "Stale"
        pytest.param("", (60, 75, 90), id="hourly when nothing is said"),
        pytest.param('reports_every = "60min"', (60, 75, 90), id="hourly"),
        pytest.param('reports_every = "30min"', (30, 45, 60), id="half-hourly"),
        pytest.param('reports_every = "1min"', (1, 10, 20), id="own anemometer"),
        pytest.param('reports_every = "3h"', (180, 195, 210), id="three-hourly"),
        pytest.param('stale_after = "2h"', (60, 120, 120), id="own age of stale"),
        pytest.param('no_data_after = "4h"', (60, 75, 240), id="own age of no data"),
    ],
)
def test_age_of_an_observation(keys, ages_min):
    airfield = read(("elevation_ft = 960", f"elevation_ft = 960\n{keys}")).fleet.airfields[0]
    found = (airfield.reports_every, airfield.stale_after, airfield.no_data_after)
    assert tuple(age / timedelta(minutes=1) for age in found) == ages_min


def test_a_runway_without_headings_goes_by_its_numbers_and_says_so():
    settings = read(
        ('{ name = "10", heading_true_deg = 91.4 }', '{ name = "10L" }'),
        ('{ name = "28", heading_true_deg = 271.4 }', '{ name = "28R" }'),
    )
    ends = settings.fleet.airfields[0].runways[0].ends
    assert [end.heading for end in ends] == [
        HeadingFromDesignator(100),
        HeadingFromDesignator(280),
    ]
    assert settings.warnings[0] == (
        "field.toml:16: airfield XLKS, runway 10L/28R, end 10L: no heading: its number alone says "
        "it, so every figure is approximate; add heading_true_deg from a survey or chart"
    )


def test_tricycle_is_another_word_for_nosewheel():
    assert read(('"nosewheel"', '"tricycle"')).fleet.aircraft[0].gear is Gear.NOSEWHEEL


def test_the_json_feed_of_a_field_s_own_anemometer():
    head = RIGHT[: RIGHT.index("[delivery]")]
    settings = read(
        (
            head,
            """\
[feed]
kind = "json"
contact = "ops@larkspur.example"
url = "http://192.168.20.7:8080/now"
every = "20s"
allow_http = true
allow_networks = ["192.168.20.0/24"]
api_key_env = "KEY"
  [feed.mapping]
  station = "XLKS"
  observed_at = "time"
  wind_from = "wind.direction"
  speed = "wind.average"
  unit = "m/s"
  reference = "magnetic"
  averaging_period = "2min"

""",
        ),
        ("elevation_ft = 960", "elevation_ft = 960\nvariation_deg = -11.5"),
        environ={"KEY": "hunter2"},
    )
    assert settings.feed.mapping == JsonMapping(
        station="XLKS",
        observed_at="time",
        wind_from="wind.direction",
        speed="wind.average",
        unit="m/s",
        reference="magnetic",
        variation_deg=-11.5,
        averaging_period=timedelta(minutes=2),
    )
    assert settings.feed.api_key == Secret("hunter2")
    assert settings.fleet.airfields[0].stale_after == timedelta(minutes=10)


def test_a_store_in_a_database():
    settings = read(
        (
            DELIVERY,
            DELIVERY
            + '[store]\nurl = "postgresql+psycopg://windwatch@db.example/windwatch"\n'
            + 'password_env = "STORE"\n',
        ),
        environ={"STORE": "hunter2"},
    )
    assert settings.store.path is None
    assert settings.store.url == "postgresql+psycopg://windwatch@db.example/windwatch"
    assert settings.store.password == Secret("hunter2")


@pytest.mark.parametrize(("security", "port"), [("starttls", 587), ("tls", 465), ("none", 25)])
def test_the_usual_port_of_mail(security, port):
    settings = read(
        (
            MAIL,
            f'{MAIL}[mail]\nhost = "localhost"\nsender = "a@b.example"\nsecurity = "{security}"\n',
        )
    )
    assert settings.mail is not None
    assert settings.mail.port == port


# --- secrets -------------------------------------------------------------------

WEBHOOK = 'webhook = { url = "https://d.example/hunter2", '


def test_two_secrets_while_one_replaces_the_other():
    other = "whsec_" + base64.b64encode(bytes(32)).decode()
    settings = read(
        (MAIL, WEBHOOK + 'secret_env = ["NEW", "OLD"] }\n'), environ={"NEW": other, "OLD": SIGNING}
    )
    webhook = settings.addresses["operations desk"].webhook
    assert webhook is not None
    assert webhook.secrets == (Secret(other), Secret(SIGNING))


def test_a_secret_without_padding():
    bare = {"DESK": SIGNING.rstrip("=")}
    assert bare["DESK"] != SIGNING
    webhook = (
        read((MAIL, WEBHOOK + 'secret_env = "DESK" }\n'), environ=bare)
        .addresses["operations desk"]
        .webhook
    )
    assert webhook is not None
    assert webhook.secrets == (Secret(bare["DESK"]),)


@pytest.mark.guard("secrets")
def test_a_secret_in_a_file_that_others_can_read():
    Path("desk").write_text(SIGNING + "\n", encoding="utf-8")
    Path("desk").chmod(0o644)
    settings = read((MAIL, WEBHOOK + 'secret_file = "desk" }\n'))
    webhook = settings.addresses["operations desk"].webhook
    assert webhook is not None
    assert webhook.secrets == (Secret(SIGNING),)
    if os.name == "posix":
        (said,) = settings.warnings
        assert said == (
            "field.toml:35: contact operations desk, webhook.secret_file: the file it names can be "
            "read by others (mode 644); take that away: chmod 600"
        )
        Path("desk").chmod(0o600)
        assert read((MAIL, WEBHOOK + 'secret_file = "desk" }\n')).warnings == ()


def test_no_secret_is_in_the_settings_as_shown():
    settings = read(
        (
            MAIL,
            MAIL + WEBHOOK + 'secret_env = "DESK" }\n[mail]\nhost = "localhost"\n'
            'sender = "a@b.example"\nusername = "wind"\npassword_env = "MAIL"\n',
        ),
        environ={"DESK": SIGNING, "MAIL": "hunter2"},
    )
    for shown in (repr(settings), str(settings), repr(dataclasses.asdict(settings.mail))):
        assert "hunter2" not in shown
        assert SIGNING.removeprefix("whsec_") not in shown
        assert "ops@larkspur.example" not in repr(settings.addresses)


# --- several files -----------------------------------------------------------------


def test_a_folder_is_read_in_the_order_of_names():
    whole = Path("field")
    whole.mkdir()
    cut = RIGHT.index("[[aircraft]]")
    (whole / "a.toml").write_text(RIGHT[:cut], encoding="utf-8")
    (whole / "b.toml").write_text(RIGHT[cut:], encoding="utf-8")
    (whole / "notes.txt").write_text("no configuration", encoding="utf-8")
    settings = read_settings([whole, whole / "b.toml"], {})
    assert settings.files == (whole / "a.toml", whole / "b.toml")
    assert settings.fleet == read().fleet


def test_lists_are_put_one_behind_the_other_and_paths_count_from_their_own_file():
    Path("more").mkdir()
    Path("more/more.toml").write_text(
        '[[contact]]\nname = "board"\nfolder = "board"\n[store]\npath = "books.db"\n'
        '[delivery]\nfolder = "notices"\n',
        encoding="utf-8",
    )
    read()
    settings = read_settings([Path("field.toml"), Path("more/more.toml")], {})
    assert [contact.name for contact in settings.fleet.contacts] == ["operations desk", "board"]
    assert settings.addresses["board"] == ContactAddresses(folder=Path("more/board"))
    assert settings.store.path == Path("more/books.db")
    assert settings.delivery.folder == Path("notices")


def test_a_byte_order_mark_and_windows_line_ends_are_read():
    Path("field.toml").write_bytes(b"\xef\xbb\xbf" + RIGHT.replace("\n", "\r\n").encode())
    assert read_settings([Path("field.toml")], {}).fleet == read().fleet


def test_settings_are_frozen():
    settings = read()
    with pytest.raises(dataclasses.FrozenInstanceError):
        settings.store = None  # type: ignore[misc,assignment]
    with pytest.raises(TypeError):
        settings.addresses["x"] = ContactAddresses()  # type: ignore[index]


# --- cautions ------------------------------------------------------------------------

CAUTIONS = [
    pytest.param(
        "crosswind_kt = 15",
        "gust_spread_kt = 8",
        "field.toml:26: aircraft X-LARK, limits.gust_spread_kt: 8 is below 10 kt, from which on "
        "reports show gusts; do not count on being warned below that; limit wind_kt as well",
        id="a gust spread that reports do not show",
    ),
    pytest.param(
        'wing = "high"',
        'wing = "high"\ndemonstrated_crosswind_kt = 12',
        "field.toml:27: aircraft X-LARK, limits.crosswind_kt: 15 is above the demonstrated "
        "crosswind, 12; make sure that the school allows more than was shown at certification",
        id="a limit above what was demonstrated",
    ),
    pytest.param(
        "limits = { crosswind_kt = 15, tie_down_kt = 25 }\n",
        "",
        "field.toml:21: aircraft X-LARK: no limits: it is never warned about; add limits = "
        "{ crosswind_kt = 15 }",
        id="an aircraft without limits",
    ),
    pytest.param(
        "tie_down_kt = 25",
        "tie_down_kt = 25, shelter_kt = 20",
        "field.toml:26: aircraft X-LARK, limits.shelter_kt: 20 is below tie_down_kt = 25; make "
        "sure that they are not mixed up",
        id="shelter before tie-down",
    ),
    pytest.param(
        'heading_true_deg = 91.4 }, { name = "28", heading_true_deg = 271.4',
        'heading_true_deg = 271.4 }, { name = "28", heading_true_deg = 91.4',
        "field.toml:16: airfield XLKS, runway 10/28, end 10: its heading is 177° from what its "
        "number says with the variation there; check whether the two ends are swapped, and "
        "latitude and longitude",
        id="ends that are swapped",
    ),
    pytest.param(
        'flown_by = ["student solo"]\n',
        "",
        "field.toml:28: pilot_limits student solo: no aircraft is flown by it; add "
        '"student solo" to a flown_by',
        id="a standard that nobody flies by",
    ),
    pytest.param(
        RIGHT[RIGHT.index("[[contact]]") :],
        "",
        "field.toml: contact: no contact: nobody is told; add a [[contact]] table",
        id="nobody to tell",
    ),
    pytest.param(
        MAIL,
        MAIL + 'tell_about = { levels = ["near"] }\n',
        "field.toml:21: aircraft X-LARK: no contact is told when it is over a limit; add it to "
        "the tell_about of one",
        id="an aircraft that nobody hears of",
    ),
    pytest.param(
        "  [[airfield.taxi_leg]]",
        '  uses = ["X-TERN"]\n  [[airfield.taxi_leg]]',
        'field.toml:22: aircraft X-LARK: flown by "student solo" it may use no runway at XLKS; '
        "add it to the uses of one, or take that standard out of flown_by",
        id="an aircraft without a runway",
    ),
]


@pytest.mark.parametrize(("old", "new", "said"), CAUTIONS)
def test_caution(old, new, said):
    other = (
        '[[aircraft]]\nname = "X-TERN"\ngear = "nosewheel"\nwing = "low"\nbased_at = "XLKS"\n'
        "limits = { wind_kt = 20 }\n"
    )
    changes = [(old, new)]
    if "X-TERN" in new:
        changes.append(("[[pilot_limits]]", f"{other}\n[[pilot_limits]]"))
    warnings = read(*changes).warnings
    assert len(warnings) == (2 if "heading_true_deg" in new else 1)
    assert warnings[0].startswith(said)


def test_a_demonstrated_crosswind_equal_to_the_limit_is_fine():
    assert read(('wing = "high"', 'wing = "high"\ndemonstrated_crosswind_kt = 15')).warnings == ()


def test_a_contact_has_mails_with_pictures_unless_it_wants_none():
    assert read().addresses["operations desk"].pictures is True
    without = read((MAIL, MAIL + "pictures = false\n"))
    assert without.addresses["operations desk"].pictures is False
    server = '[mail]\nhost = "mail.larkspur.example"\nsender = "wind@larkspur.example"\n'
    sent = read((MAIL, MAIL + "pictures = false\n"), (DELIVERY, server))
    channel = make_channels(sent).get(Route("operations desk", "email"))
    assert channel._recipient.pictures is False
