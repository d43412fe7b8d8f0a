"""The tables about the feed, the store, mail and delivery."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field

from windwatch.settings import words
from windwatch.settings.schema_base import (
    EnvironmentName,
    Name,
    Network,
    PathText,
    StationId,
    Table,
    WebAddress,
    duration_type,
)

FEED_KINDS: Final = (
    "awc",
    "awc-cache",
    "noaa-text",
    "noaa-cycles",
    "nws",
    "recorded",
    "json",
)
# Those that have forecasts.
FORECAST_FEEDS: Final = ("awc", "noaa-text", "recorded")
_PLACE: Final = re.compile(r"[^\s.]+(?:\.[^\s.]+)*")
_HOST: Final = re.compile(r"[A-Za-z0-9]([A-Za-z0-9.:-]{0,250}[A-Za-z0-9])?")
_DATABASE: Final = re.compile(r"postgresql(\+psycopg)?://([^/@\s]+@)?[^/@\s]*/[^/?#\s]+")
_HEADER: Final = re.compile(r"[A-Za-z][A-Za-z0-9-]{0,60}")


def _place(text: str) -> str:
    if not _PLACE.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no place in an answer",
            'write keys with dots between them, as "wind.gust"',
        )
    return text


def _host(text: str) -> str:
    if not _HOST.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no name of a mail server",
            'write its name alone, as "mail.larkspur.example"',
        )
    return text


def _database(text: str) -> str:
    login = text.partition("://")[2].rpartition("/")[0].rpartition("@")[0]
    if ":" in login:
        raise words.refused(
            "the address of the database carries a password",
            'take it out and write password_env = "WINDWATCH_STORE_PASSWORD"',
        )
    if not _DATABASE.fullmatch(text):
        raise words.refused(
            "this is no address of a PostgreSQL database",
            'write it as "postgresql://windwatch@db.larkspur.example/windwatch"',
        )
    return text


def _header(text: str) -> str:
    if not _HEADER.fullmatch(text):
        raise words.refused(
            f"{words.shown(text)} is no name of a header", 'write its name alone, as "X-Api-Key"'
        )
    return text


Place = Annotated[str, AfterValidator(_place)]


class MappingTable(Table):
    """Where the figures stand in the answer of a json feed: keys with dots between them."""

    records: Place | None = Field(
        default=None,
        description="The list of observations; left out: the answer itself.",
        examples=["data.observations"],
    )
    station: StationId | None = Field(
        default=None, description="The one station that is meant.", examples=["XLKS"]
    )
    station_key: Place | None = Field(
        default=None,
        description="Or where an observation names its station.",
        examples=["station.id"],
    )
    report: Place | None = Field(
        default=None,
        description="A whole METAR as text; then no figures are needed.",
        examples=["rawOb"],
    )
    observed_at: Place | None = Field(
        default=None,
        description="Time of the observation: ISO 8601 with zone, or Unix seconds.",
        examples=["time"],
    )
    wind_from: Place | None = Field(
        default=None,
        description="Direction the wind comes from, degrees.",
        examples=["wind.direction"],
    )
    speed: Place | None = Field(default=None, description="Mean speed.", examples=["wind.average"])
    gust: Place | None = Field(default=None, description="Peak speed.", examples=["wind.gust"])
    unit: Literal["kt", "m/s", "km/h", "mph"] | None = Field(
        default=None, description="Unit of the speeds.", examples=["m/s"]
    )
    reference: Literal["true", "magnetic"] | None = Field(
        default=None,
        description="What the direction is measured from: there is no silent default.",
        examples=["true"],
    )
    variation_deg: float | None = Field(
        default=None,
        ge=-180,
        le=180,
        description="Magnetic variation at the sensor, east positive, for a magnetic direction.",
        examples=[-11.5],
    )
    averaging_period: duration_type("0s", "10min") | None = Field(  # type: ignore[valid-type]
        None,
        description=(
            "Over how long the device averages the speed, 0s to 10min; 0s for momentary values. "
            "There is no silent default."
        ),
        examples=["2min"],
    )


class FeedTable(Table):
    """Where the reports come from."""

    kind: Literal["awc", "awc-cache", "noaa-text", "noaa-cycles", "nws", "recorded", "json"] = (
        Field(
            description=(
                "awc: worldwide; noaa-text: worldwide, one file a station; awc-cache, noaa-cycles: "
                "worldwide, every station in one file, for many airfields; nws: United States; "
                "recorded: files; json: a field's own anemometer or an aggregator."
            ),
            examples=["awc", "awc-cache"],
        )
    )
    contact: Name | None = Field(
        default=None,
        description="Mail or web address that public feeds may write to; goes into each request.",
        examples=["ops@larkspur.example"],
    )
    every: duration_type("5s", "1h") = Field(  # type: ignore[valid-type]
        "120s",
        description="How often to ask, 5s to 1h; public feeds at most every 60s. Usually 120s.",
        examples=["60s"],
    )
    forecasts_every: duration_type("10min", "6h") = Field(  # type: ignore[valid-type]
        "10min",
        description=(
            "How often to ask for the forecasts of forecast_station (awc and noaa-text), 10min to "
            "6h. Usually 10min. They are shown, not yet judged."
        ),
        examples=["30min"],
    )
    url: WebAddress | None = Field(
        default=None,
        description="Address of a json feed; of another file (awc-cache) or server (the others).",
        examples=["https://anemometer.larkspur.example/now"],
    )
    format: Literal["raw", "json"] = Field(
        default="json", description="What to ask awc for.", examples=["raw"]
    )
    files: list[PathText] = Field(
        default=[],
        description="Recorded reports, counted from the folder of this file.",
        examples=[["../recorded_reports/front_day.txt"]],
    )
    mapping: MappingTable | None = Field(
        default=None,
        description="Where the figures stand in a json feed.",
        examples=[{"station": "XLKS", "report": "rawOb"}],
    )
    allow_http: bool = Field(
        default=False, description="Let the address be asked without encryption.", examples=[True]
    )
    allow_networks: list[Network] = Field(
        default=[],
        description="Networks that the address may be in although not public, and on any port.",
        examples=[["192.168.20.0/24"]],
    )
    ca_file: PathText | None = Field(
        default=None,
        description="Certificates trusted besides the usual ones, PEM.",
        examples=["ca.pem"],
    )
    api_key_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable that holds the key a json address asks for.",
        examples=["WINDWATCH_FEED_KEY"],
    )
    api_key_file: PathText | None = Field(
        default=None, description="File that holds that key.", examples=["secrets/feed-key"]
    )
    api_key_header: Annotated[str, AfterValidator(_header)] = Field(
        default="Authorization", description="Header that carries the key.", examples=["X-Api-Key"]
    )


class StoreTable(Table):
    """Where windwatch keeps its books."""

    path: PathText | None = Field(
        default=None,
        description="SQLite file; left out: windwatch.db beside this file.",
        examples=["windwatch.db"],
    )
    url: Annotated[str, AfterValidator(_database)] | None = Field(
        default=None,
        description="Or a PostgreSQL database, without the password.",
        examples=["postgresql://windwatch@db.larkspur.example/windwatch"],
    )
    password_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable that holds its password.",
        examples=["WINDWATCH_STORE_PASSWORD"],
    )
    password_file: PathText | None = Field(
        default=None, description="File that holds its password.", examples=["secrets/store"]
    )


class DeliveryTable(Table):
    """How notices leave."""

    folder: PathText | None = Field(
        default=None,
        description="Instead of sending: leave one .eml or .json a notice in this folder.",
        examples=["notices"],
    )
    allow_networks: list[Network] = Field(
        default=[],
        description="Networks that a webhook may be in although not public, and on any port.",
        examples=[["192.168.20.0/24"]],
    )


class MailTable(Table):
    """The mail server that takes our mail."""

    host: Annotated[str, AfterValidator(_host)] = Field(
        description="Its name.", examples=["mail.larkspur.example"]
    )
    port: int | None = Field(
        default=None,
        ge=1,
        le=65535,
        description="Left out: 587 for starttls, 465 for tls, 25 for none.",
        examples=[587],
    )
    security: Literal["starttls", "tls", "none"] = Field(
        default="starttls", description="How the connection is encrypted.", examples=["starttls"]
    )
    username: Name | None = Field(
        default=None, description="Login; left out: none.", examples=["wind@larkspur.example"]
    )
    password_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable that holds the password.",
        examples=["WINDWATCH_MAIL_PASSWORD"],
    )
    password_file: PathText | None = Field(
        default=None, description="File that holds the password.", examples=["secrets/mail"]
    )
    sender: Annotated[str, AfterValidator(words.sender)] = Field(
        description="From whom.", examples=["Larkspur wind <wind@larkspur.example>"]
    )
    ca_file: PathText | None = Field(
        default=None,
        description="Certificates that vouch for the server, PEM.",
        examples=["mail-ca.pem"],
    )
    allow_plain: bool = Field(
        default=False,
        description='Let security = "none" be used with another machine; never with a login.',
        examples=[True],
    )
