"""Which limit applies, and the thresholds around it."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from windwatch.fleet import Limit
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


def deadband(limit: Knots) -> Knots:
    """How far below a limit a figure must fall before it may count as back within.

    max(2 kt, 5 % of the limit), at most 20 % of it. An engineering judgement: reported speeds
    step by 1 kt, and sensors are usually good to 2 kt or 5 %.
    """
    return Knots(min(max(2.0, 0.05 * limit), 0.2 * limit))


def near_deadband(limit: Knots) -> Knots:
    """How far below the near threshold a figure must fall before *near* ends."""
    return Knots(min(max(1.0, 0.05 * limit), 0.2 * limit))


def worsening_step(limit: Knots) -> Knots:
    """How much above the last told worst a new worst must be to be told: max(3 kt, 20 %)."""
    return Knots(max(3.0, 0.2 * limit))


@lru_cache(maxsize=4096)
def thresholds(limit: Limit) -> Thresholds:
    """Everything a figure is compared with, free of binary dust; one object for equal limits."""
    near = limit.near_at * limit.value
    return Thresholds(
        limit,
        Knots(round(near, 4)),
        Knots(round(limit.value - deadband(limit.value), 4)),
        Knots(round(near - near_deadband(limit.value), 4)),
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
