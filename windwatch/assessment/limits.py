"""Which limit applies, and the thresholds around it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from windwatch.fleet import Limit
from windwatch.rules import Rules
from windwatch.wind import Knots


class Thresholds(NamedTuple):
    """A limit with everything that is compared with it.

    Attributes
    ----------
    near : Knots
        Greater than this is near. [kt]
    low : Knots
        At or below this a report may count towards *back within limits*. [kt]
    near_low : Knots
        At or below this *near* ends. [kt]
    """

    limit: Limit
    near: Knots
    low: Knots
    near_low: Knots


def deadband(limit: Knots, rules: Rules) -> Knots:
    """How far below a limit a figure must fall before it may count as back within.

    So many knots or so large a share of the limit, the larger of the two, and never more than
    `deadband_most_share` of it.
    """
    margin = max(rules.deadband_kt, rules.deadband_share * limit)
    return Knots(min(margin, rules.deadband_most_share * limit))


def near_deadband(limit: Knots, rules: Rules) -> Knots:
    """How far below the near threshold a figure must fall before *near* ends."""
    margin = max(rules.near_deadband_kt, rules.near_deadband_share * limit)
    return Knots(min(margin, rules.deadband_most_share * limit))


def worsening_step(limit: Knots, rules: Rules) -> Knots:
    """How much above the last told worst a new worst must be to be told."""
    return Knots(max(rules.worsen_kt, rules.worsen_share * limit))


def thresholds(limit: Limit, rules: Rules) -> Thresholds:
    """Everything a figure is compared with, free of binary dust."""
    near = limit.near_at * limit.value
    return Thresholds(
        limit,
        Knots(round(near, 4)),
        Knots(round(limit.value - deadband(limit.value, rules), 4)),
        Knots(round(near - near_deadband(limit.value, rules), 4)),
    )


def effective_limits(sources: Iterable[Iterable[Limit]]) -> tuple[Limit, ...]:
    """The smallest limit on each quantity, of gust and mean figure apart.

    Parameters
    ----------
    sources : iterable of iterables of Limit
        Of the aircraft, the pilot standard and the runway, in that order; of equal limits the
        first named is kept.

    Returns
    -------
    tuple of Limit
        In the order in which the quantities were first named.
    """
    smallest: dict[tuple[str, str], Limit] = {}
    for limits in sources:
        for limit in limits:
            key = (limit.quantity, limit.of.value)
            known = smallest.get(key)
            if known is None or limit.value < known.value:
                smallest[key] = limit
    return tuple(smallest.values())
