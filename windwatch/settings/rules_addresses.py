"""What may not be said about an address that windwatch will call; nothing is looked up."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from urllib.parse import urlsplit

from windwatch.addresses import WEB_PORTS, IpAddress, is_public, networks
from windwatch.settings.findings import Findings
from windwatch.settings.lines import Loc
from windwatch.settings.words import shown_url


def judge_url(
    found: Findings,
    loc: Loc,
    url: str,
    *,
    allow_http: bool,
    allowed: Sequence[str],
    networks_at: Loc,
) -> None:
    """Judge an address: encrypted, on a web port and public as far as its spelling tells.

    Parameters
    ----------
    allowed : sequence of str
        Networks that are allowed although they are not public, on any port.
    networks_at : tuple
        Where these are configured.
    """
    parts = urlsplit(url)
    if parts.scheme == "http" and not allow_http:
        found.refuse(
            loc,
            f"{shown_url(url)} is not encrypted",
            "write https://, or add allow_http = true if the way there is your own",
        )
    address = _literal(parts.hostname or "")
    if address is not None and any(address in network for network in networks(allowed)):
        return
    mend = f'if it is meant, list its network in [{networks_at[0]}], as {networks_at[1]} = ["{{}}"]'
    if address is not None and not is_public(address):
        found.refuse(
            loc,
            f"{shown_url(url)} is not a public address",
            mend.format(address),
            networks_at,
        )
    elif parts.port not in {None, *WEB_PORTS} and (address is not None or not allowed):
        # What a name stands for is known only when it is called; a listed network may hold it.
        found.refuse(
            loc,
            f"{shown_url(url)} is neither on port 80 nor 443",
            mend.format(address or "192.168.20.0/24"),
            networks_at,
        )


def _literal(host: str) -> IpAddress | None:
    """Return the address that a host is spelt as, or None for a name."""
    if host.rstrip(".").lower() == "localhost":
        return ipaddress.ip_address("127.0.0.1")
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None
