"""The table about the watch itself: how it shows outside that it works."""

from __future__ import annotations

import ipaddress
from typing import Annotated

from pydantic import AfterValidator, Field

from windwatch.settings import words
from windwatch.settings.schema_base import (
    EnvironmentName,
    Network,
    PathText,
    Table,
    WebAddress,
    duration_type,
)


def _address(text: str) -> str:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        raise words.refused(
            f"{words.shown(text)} is no address of a machine", 'write it in figures, as "127.0.0.1"'
        ) from None
    return text


class WatchTable(Table):
    """Watching the watcher: heartbeat, metrics, and the state that `windwatch health` reads."""

    heartbeat_url: WebAddress | None = Field(
        default=None,
        description="Address to call after each complete cycle, and only then.",
        examples=["https://heartbeat.larkspur.example/windwatch"],
    )
    heartbeat_url_env: EnvironmentName | None = Field(
        default=None,
        description="Environment variable that holds that address, where it carries a key.",
        examples=["WINDWATCH_HEARTBEAT_URL"],
    )
    allow_http: bool = Field(
        default=False,
        description="Let the heartbeat be called without encryption.",
        examples=[True],
    )
    allow_networks: list[Network] = Field(
        default=[],
        description="Networks that the heartbeat may be in although not public, and on any port.",
        examples=[["192.168.20.0/24"]],
    )
    ca_file: PathText | None = Field(
        default=None,
        description="Certificates trusted for the heartbeat besides the usual ones, PEM.",
        examples=["ca.pem"],
    )
    metrics_port: int | None = Field(
        default=None,
        ge=1,
        le=65535,
        description="Port for Prometheus, extra metrics; left out: none.",
        examples=[9464],
    )
    metrics_address: Annotated[str, AfterValidator(_address)] = Field(
        default="127.0.0.1",
        description="Where that port listens; usually this machine alone.",
        examples=["127.0.0.1"],
    )
    status_file: PathText | None = Field(
        default=None,
        description="State that windwatch health reads; left out: beside the store.",
        examples=["windwatch.health.json"],
    )
    store_patience: duration_type("1min", "1h") = Field(  # type: ignore[valid-type]
        default="5min",
        description=(
            "A store that cannot be written for so long, 1min to 1h, ends the watch for its "
            "supervisor; a full disk does not. Usually 5min."
        ),
        examples=["5min"],
    )
