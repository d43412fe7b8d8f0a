"""Which push services may be used, by the scheme of their addresses."""

from __future__ import annotations

import ipaddress
from typing import Final
from urllib.parse import urlsplit

from windwatch.addresses import Refused, is_public

# Services that are called over https, by a name of their own or at a host of one's own. What
# writes to this machine, speaks another protocol or runs a program is not among them.
SECURE: Final = frozenset(
    {
        "discord",
        "gchat",
        "gotifys",
        "jsons",
        "mmosts",
        "ntfys",
        "pbul",
        "pover",
        "prowl",
        "slack",
        "tgram",
        "twilio",
        "workflow",
        "workflows",
    }
)
# In clear, for a server in one's own network, by its number.
PLAIN: Final = frozenset({"gotify", "json", "mmost"})
PUSH_MEND: Final = (
    "give the address of one of these services as Apprise writes it: "
    + ", ".join(sorted(SECURE))
    + ", for example ntfys://larkspur-wind"
)


def check_push(url: str) -> None:
    """Refuse a push address that windwatch will not use; it is a secret, and never quoted.

    Raises
    ------
    Refused
        If the scheme is none of those allowed, or is in clear to anything but a private address.
    """
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
    except ValueError:
        raise Refused("what it holds is no address") from None
    scheme = parts.scheme.lower()
    if any(ord(letter) <= 0x20 or ord(letter) == 0x7F for letter in url) or not scheme:
        raise Refused("what it holds is no address")
    if scheme in SECURE:
        return
    if scheme not in PLAIN:
        raise Refused(f"{scheme[:20]}:// is none of the push services that windwatch uses")
    try:
        private = not is_public(ipaddress.ip_address(host))
    except ValueError:
        private = False
    if not private:
        raise Refused(f"{scheme}:// is not encrypted; only a private address may be called so")
