"""How much one may ask: sizes, and rates by the address that asks."""

from __future__ import annotations

import ipaddress
from collections import OrderedDict
from typing import Final, NamedTuple

# A form of ours is a few hundred bytes.
MOST_BODY: Final = 8_192
BODY_TIME_S: Final = 10.0
MOST_TARGET: Final = 2_000
MOST_FIELDS: Final = 12
# The line and the headers of a request, together.
MOST_HEAD: Final = 16_384
HEAD_TIME_S: Final = 10.0
# Live viewers, each with a connection that stays; and all connections.
MOST_LIVE: Final = 400
MOST_CONNECTIONS: Final = 1_000
_ADDRESSES_KEPT: Final = 4_096


class Rate(NamedTuple):
    """So many at once, and then so many a second."""

    at_once: float
    per_second: float


# Behind one address may stand a whole school, each of whose screens asks anew at a change.
LOOKS: Final = Rate(1_500, 150)
DEEDS: Final = Rate(30, 0.5)
# Wrong passwords: five, then one a minute; and of all addresses together.
GUESSES: Final = Rate(5, 1 / 60)
ALL_GUESSES: Final = Rate(60, 0.5)


class Allowance:
    """Counts what each address has asked; those long silent are forgotten.

    Parameters
    ----------
    rate : Rate
    """

    def __init__(self, rate: Rate) -> None:
        self._rate = rate
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, who: str, at_s: float) -> bool:
        """Take one, if there is one left.

        Parameters
        ----------
        at_s : float
            On a clock that never jumps. [s]
        """
        left = self._now(who, at_s)
        allowed = left >= 1
        self._left[who] = (left - allowed, at_s)
        self._left.move_to_end(who)
        if len(self._left) > _ADDRESSES_KEPT:
            self._left.popitem(last=False)
        return allowed

    def forget(self, who: str) -> None:
        """Begin anew with somebody."""
        self._left.pop(who, None)

    def _now(self, who: str, at_s: float) -> float:
        left, since_s = self._left.get(who, (self._rate.at_once, at_s))
        gained = max(0.0, at_s - since_s) * self._rate.per_second
        return min(self._rate.at_once, left + gained)


def counted_as(address: str) -> str:
    """Whom an address counts as: in IPv6 everybody has 2^64 of them."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:100]
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)
