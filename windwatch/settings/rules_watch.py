"""Contradictions about the watch itself."""

from __future__ import annotations

import ipaddress

from windwatch.settings import words
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.rules_addresses import judge_url
from windwatch.settings.rules_rim import existing_file, path_at
from windwatch.settings.running import WatchValues
from windwatch.settings.secret import Secret
from windwatch.settings.secrets_found import password
from windwatch.settings.words import web_address


def judge_watch(found: Findings) -> WatchValues:
    """Judge how the watch shows that it works, and return the running values."""
    watch = found.whole.watch
    loc: Loc = ("watch",)
    if not ipaddress.ip_address(watch.metrics_address).is_loopback:
        found.caution(
            (*loc, "metrics_address"),
            f"the figures can be read by whoever reaches {watch.metrics_address}",
            'write "127.0.0.1" unless that is meant',
        )
    return WatchValues(
        heartbeat_url=_heartbeat(found, loc),
        allow_http=watch.allow_http,
        allow_networks=tuple(watch.allow_networks),
        ca_file=existing_file(found, (*loc, "ca_file"), watch.ca_file),
        metrics_port=watch.metrics_port,
        metrics_address=watch.metrics_address,
        status_file=path_at(found, (*loc, "status_file"), watch.status_file),
        store_patience=words.duration(watch.store_patience),
    )


def _heartbeat(found: Findings, loc: Loc) -> Secret | None:
    watch = found.whole.watch
    url: str | None = watch.heartbeat_url
    at: Loc = (*loc, "heartbeat_url")
    if watch.heartbeat_url_env is not None:
        if url is not None:
            found.refuse(at, "the address is given twice", "keep one of the two", loc)
            return None
        at = (*loc, "heartbeat_url_env")
        secret = password(found, loc, watch.heartbeat_url_env, None, stem="heartbeat_url")
        url = None if secret is None else secret.reveal()
        try:
            url = None if url is None else web_address(url)
        except ValueError:
            found.refuse(
                at, "what it holds is no web address", "let it hold one that begins with https://"
            )
            return None
    if url is None:
        return None
    judge_url(
        found,
        at,
        url,
        allow_http=watch.allow_http,
        allowed=watch.allow_networks,
        networks_at=("watch", "allow_networks"),
    )
    return Secret(url)
