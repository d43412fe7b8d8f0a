"""The tables about aircraft, pilots and contacts."""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field

from windwatch.settings import words
from windwatch.settings.schema_base import (
    EnvironmentName,
    MailAddress,
    Name,
    PathText,
    Table,
    WebAddress,
    one_or_more,
)
from windwatch.settings.schema_hours import AbsenceTable, DutyTable, QuietHoursTable
from windwatch.settings.schema_limits import AircraftLimits, LimitEntry, RunwayLimits

_GROUND_KEY: Final = re.compile(r"[a-z][a-z0-9_]{0,30}_kt")
_TAKEN: Final = frozenset(
    {"crosswind", "tailwind", "wind", "gust_spread", "taxi", "taxi_wind", "tie_down", "shelter"}
)


def _ground_key(text: str) -> str:
    if not _GROUND_KEY.fullmatch(text) or text.removesuffix("_kt") in _TAKEN:
        raise words.refused(
            f"{words.shown(text)} cannot name a ground limit of your own",
            "write a new name in small letters that ends in _kt, as towing_kt",
        )
    return text


class AircraftTable(Table):
    """An aircraft."""

    name: Name = Field(description="Its registration or what people call it.", examples=["X-LARK"])
    description: Name | None = Field(
        default=None, description="In a few words.", examples=["nosewheel high-wing trainer"]
    )
    gear: Literal["nosewheel", "tricycle", "tailwheel"] = Field(
        description="Where the third wheel is.", examples=["nosewheel"]
    )
    wing: Literal["high", "low"] = Field(description="Where the wing is.", examples=["high"])
    based_at: Name = Field(description="The airfield where it stands.", examples=["XLKS"])
    stall_speed_kt: float | None = Field(
        default=None,
        gt=0,
        le=150,
        description="Clean, calibrated (KCAS), at the highest mass.",
        examples=[44],
    )
    demonstrated_crosswind_kt: float | None = Field(
        default=None,
        gt=0,
        le=80,
        description=(
            "Largest crosswind shown at certification. It is no limitation and never used as one."
        ),
        examples=[15],
    )
    limits: AircraftLimits = Field(
        default=AircraftLimits(),
        description="Its limits, flying and on the ground.",
        examples=[{"crosswind_kt": 15, "tie_down_kt": 25}],
    )
    ground_limits: dict[Annotated[str, AfterValidator(_ground_key)], LimitEntry] = Field(
        default={},
        description="Further limits on the ground by names of your own, each ending in _kt.",
        examples=[{"towing_kt": 18}],
    )
    flown_by: list[Name] = Field(
        default=[],
        description="Pilot standards that fly it.",
        examples=[["student solo", "dual"]],
    )


class PilotLimitsTable(Table):
    """A named standard of pilot."""

    name: Name = Field(description="What people call it.", examples=["student solo"])
    limits: RunwayLimits = Field(
        description="What this standard may fly in.", examples=[{"crosswind_kt": 7, "wind_kt": 15}]
    )


class WebhookTable(Table):
    """An address that is called, and the secret that signs the call."""

    url: WebAddress = Field(
        description="Where to call; https.", examples=["https://desk.larkspur.example/wind"]
    )
    secret_env: one_or_more(EnvironmentName) | None = Field(  # type: ignore[valid-type]
        None,
        description=(
            "Environment variable that holds the signing secret (whsec_ and base64 of at least "
            "24 random bytes); a list of two, newest first, while it is being replaced."
        ),
        examples=["WINDWATCH_DESK_SECRET"],
    )
    secret_file: one_or_more(PathText) | None = Field(  # type: ignore[valid-type]
        None,
        description="File that holds the signing secret; or a list of two, newest first.",
        examples=["secrets/desk"],
    )
    allow_http: bool = Field(
        default=False, description="Let it be called without encryption.", examples=[True]
    )
    ca_file: PathText | None = Field(
        default=None, description="Certificates that vouch for it, PEM.", examples=["desk-ca.pem"]
    )


class PushTable(Table):
    """A push service: its address is a secret and stands elsewhere."""

    url_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable that holds the address, as Apprise writes it.",
        examples=["WINDWATCH_DESK_PUSH"],
    )
    url_file: PathText | None = Field(
        default=None,
        description="File that holds the address, as Apprise writes it.",
        examples=["secrets/push"],
    )


class TellAboutTable(Table):
    """What a contact wants to hear; what is left out means all."""

    airfields: list[Name] = Field(
        default=[], description="Airfields, by identifier.", examples=[["XLKS"]]
    )
    aircraft: list[Name] = Field(default=[], description="Aircraft.", examples=[["X-LARK"]])
    pilot_limits: list[Name] = Field(
        default=[], description="Pilot standards.", examples=[["student solo"]]
    )
    runways: Literal["each", "best", "last", "none"] = Field(
        default="best",
        description=(
            "Runway steps: each runway; only the one that was best; only the last one; none."
        ),
        examples=["last"],
    )
    ground: bool = Field(default=True, description="Aircraft on the ground.", examples=[False])
    thunder: bool = Field(default=True, description="Thunder at the airfield.", examples=[False])
    levels: list[Literal["near", "over", "unknown"]] | None = Field(
        default=None,
        min_length=1,
        description=(
            "Levels to hear of; left out: over and unknown for all, near for ground and thunder."
        ),
        examples=[["near", "over", "unknown"]],
    )
    easing: bool = Field(
        default=False, description="Also hear when it first drops below the limit.", examples=[True]
    )


class ContactTable(Table):
    """Somebody to tell."""

    name: Name = Field(description="Who it is.", examples=["operations desk"])
    email: MailAddress | None = Field(
        default=None, description="One mail address.", examples=["ops@larkspur.example"]
    )
    webhook: WebhookTable | None = Field(
        default=None,
        description="An address to call.",
        examples=[
            {"url": "https://desk.larkspur.example/wind", "secret_env": "WINDWATCH_DESK_SECRET"}
        ],
    )
    folder: PathText | None = Field(
        default=None, description="A folder to leave notices in.", examples=["notices"]
    )
    push: PushTable | None = Field(
        default=None,
        description="A push service (needs the extra windwatch[push]).",
        examples=[{"url_env": "WINDWATCH_DESK_PUSH"}],
    )
    channels: list[Literal["email", "webhook", "push", "folder"]] | None = Field(
        default=None,
        min_length=1,
        description="Order of preference; left out: email, webhook, push, folder, as far as given.",
        examples=[["webhook", "email"]],
    )
    fall_back: bool = Field(
        default=False,
        description=(
            "Channels in turn: what the first takes goes by no other; the next starts after a "
            "minute, or as soon as the one before fails. Left out: every notice by every channel."
        ),
        examples=[True],
    )
    pictures: bool = Field(
        default=True,
        description=(
            "Mails with pictures: the field from above in its wind, and how the controls are held "
            "on the taxi legs. The words are complete without them."
        ),
        examples=[False],
    )
    units: Literal["kt", "m/s", "km/h", "mph"] = Field(
        default="kt",
        description=(
            "In which speeds are told: kt, m/s, km/h or mph. Limits are in knots and judged in "
            "knots, which stand beside the figures; raw reports stay as received."
        ),
        examples=["km/h"],
    )
    then_tell: Name | None = Field(
        default=None,
        description="Who is told of an open warning of which nobody takes note for 15 minutes.",
        examples=["chief instructor"],
    )
    time_zone: Name | None = Field(
        default=None,
        description="Of the hours below; left out: that of the airfield.",
        examples=["America/New_York"],
    )
    quiet_hours: QuietHoursTable | None = Field(
        default=None,
        description=(
            "Hours in which near, easing, reminders and data back wait; what is over never does."
        ),
        examples=[{"from": "22:00", "to": "06:00"}],
    )
    full_silence: bool = Field(
        default=False,
        description=(
            "Everything waits in the quiet hours; only where another contact hears the same."
        ),
        examples=[True],
    )
    duty: list[DutyTable] = Field(
        default=[],
        description="Hours in which it is there; outside them everything waits. Left out: always.",
        examples=[[{"days": ["mon", "fri"], "from": "07:00", "to": "19:00"}]],
    )
    absent: list[AbsenceTable] = Field(
        default=[],
        description="Days on which everything waits.",
        examples=[[{"from": "2026-08-01", "until": "2026-08-15"}]],
    )
    tell_about: TellAboutTable = Field(
        default=TellAboutTable(),
        description="What to tell.",
        examples=[{"airfields": ["XLKS"], "runways": "last"}],
    )
    operator: bool = Field(
        default=False, description="Hears about windwatch itself, too.", examples=[True]
    )
