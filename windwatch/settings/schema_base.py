"""What all tables of the configuration share: strictness, and the kinds of their values."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from windwatch.settings import words

MOST_KNOTS: Final = 150  # beyond any surface wind that an aeroplane is asked to bear


class Table(BaseModel):
    """A table of the file: unknown keys, near-types and not-a-number are all refused."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        hide_input_in_errors=True,
        validate_by_alias=True,
        validate_by_name=False,
        use_attribute_docstrings=False,
    )


def _duration_between(least: str, most: str) -> AfterValidator:
    low, high = words.duration(least), words.duration(most)

    def check(text: str) -> str:
        if not low <= words.duration(text) <= high:
            raise words.refused(
                f"{words.shown(text)} is outside {least} to {most}",
                f"write a length of time from {least} to {most}",
            )
        return text

    return AfterValidator(check)


def duration_type(least: str, most: str) -> Any:
    """Return the type of a length of time between two others, as text with its unit."""
    return Annotated[
        str,
        _duration_between(least, most),
        Field(json_schema_extra={"pattern": r"^\d+ ?(s|min|h)$"}),
    ]


def _limit_knots(value: float) -> float:
    if value <= 0:
        raise words.refused(
            f"{words.shown(value)} would always be exceeded", "give the limit in knots, above 0"
        )
    if value > MOST_KNOTS:
        raise words.refused(
            f"{words.shown(value)} would never be exceeded",
            f"give the limit in knots, up to {MOST_KNOTS}",
        )
    return value


Name = Annotated[str, AfterValidator(words.plain_text), Field(max_length=60)]
Text = Annotated[str, AfterValidator(words.plain_text), Field(max_length=300)]
StationId = Annotated[
    str,
    AfterValidator(words.station_id),
    Field(json_schema_extra={"pattern": "^[A-Z][A-Z0-9]{3}$"}),
]
MailAddress = Annotated[str, AfterValidator(words.mail_address), Field(max_length=254)]
WebAddress = Annotated[str, AfterValidator(words.web_address), Field(max_length=2000)]
PathText = Annotated[str, AfterValidator(words.path_text)]
EnvironmentName = Annotated[
    str,
    AfterValidator(words.environment_name),
    Field(json_schema_extra={"pattern": "^[A-Z][A-Z0-9_]*$"}),
]
Network = Annotated[str, AfterValidator(words.network)]
ClockTime = Annotated[
    str,
    AfterValidator(words.clock_time),
    Field(json_schema_extra={"pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"}),
]
LimitKnots = Annotated[
    float,
    AfterValidator(_limit_knots),
    Field(json_schema_extra={"exclusiveMinimum": 0, "maximum": MOST_KNOTS}),
]
Degrees = Annotated[float, Field(ge=0, le=360)]


def _listed(value: object) -> object:
    return value if isinstance(value, list) else [value]


def one_or_more(kind: Any) -> Any:
    """Return the type of a list that may be written as its one item."""
    return Annotated[list[kind], BeforeValidator(_listed, json_schema_input_type=kind | list[kind])]
