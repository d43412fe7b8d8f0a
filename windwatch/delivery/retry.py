"""When to try again: pure rules from what the other side said to what becomes of a delivery.

The tables are those of reliability.md, section 3. A wait is counted from the try before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import Enum
from typing import Final

from windwatch.errors import DeliveryFailed
from windwatch.rules import USUAL, Rules


class Rule(Enum):
    """Which row of the tables a failure falls under."""

    AGAIN = "by the schedule"
    BLINK = "three tries within two minutes: deployments blink"
    NEW_SESSION = "a new session after a minute"
    GREYLISTED = "greylisting: after 1, 5, 10, 15 minutes"
    REFUSED = "refused for good"
    PLAIN_ONCE = "once more as minimal plain text"
    CHANNEL_DOWN = "the channel itself is down: nobody's tries are spent"
    GONE = "the endpoint is off until somebody changes it"
    INSECURE = "no secure connection: by the schedule, never downgraded"


class SendFailed(DeliveryFailed):
    """A try failed, and the channel knows under which rule."""

    def __init__(
        self,
        answer: str,
        rule: Rule,
        *,
        retry_after: timedelta | None = None,
        status: int | None = None,
    ) -> None:
        self.rule = rule
        permanent = rule in (Rule.REFUSED, Rule.GONE)
        super().__init__(answer, permanent=permanent, retry_after=retry_after, status=status)


_S: Final = timedelta(seconds=1)
_M: Final = timedelta(minutes=1)

# Before the second try, the third ...; the last one repeats until the notice expires. None is
# longer than `Rules` has it, which names the last one of the first two.
URGENT_WAITS: Final = (5 * _S, 15 * _S, 30 * _S, 1 * _M, 2 * _M, 4 * _M, 5 * _M)
OTHER_WAITS: Final = (1 * _M, 5 * _M, 15 * _M, 30 * _M)
GREYLIST_WAITS: Final = (1 * _M, 5 * _M, 10 * _M, 15 * _M)
BLINK_WAITS: Final = (30 * _S, 60 * _S)
NEW_SESSION_WAITS: Final = (60 * _S,)
_OWN_WAITS: Final[dict[Rule, tuple[timedelta, ...]]] = {
    Rule.GREYLISTED: GREYLIST_WAITS,
    Rule.BLINK: BLINK_WAITS,
    Rule.NEW_SESSION: NEW_SESSION_WAITS,
}
RETRY_AFTER_LEAST: Final = 1 * _S
JITTER: Final = 0.2

HTTP_RULES: Final = {
    **dict.fromkeys((400, 401, 403, 404, 405, 413, 415, 422), Rule.BLINK),
    **dict.fromkeys((408, 425, 429), Rule.AGAIN),
    410: Rule.GONE,
}
SMTP_RULES: Final = {
    421: Rule.NEW_SESSION,
    **dict.fromkeys((550, 551, 553), Rule.REFUSED),
    **dict.fromkeys((552, 554), Rule.PLAIN_ONCE),
    **dict.fromkeys((530, 534, 535), Rule.CHANNEL_DOWN),
}


def http_rule(status: int) -> Rule:
    """Rule for an HTTP status that is not 2xx.

    A redirect is not followed and counts as a misconfigured endpoint, as does any status of
    the 4xx family that has no row of its own.
    """
    return HTTP_RULES.get(status, Rule.AGAIN if status >= 500 or status < 300 else Rule.BLINK)


def smtp_rule(code: int) -> Rule:
    """Rule for an SMTP reply code that is not 2xx or 3xx."""
    if code in SMTP_RULES:
        return SMTP_RULES[code]
    if 450 <= code < 460:
        return Rule.GREYLISTED
    return Rule.REFUSED if code >= 500 else Rule.AGAIN


class Verdict(Enum):
    """What becomes of a delivery after a try."""

    RETRY = "retry"
    REFUSED = "refused"
    PUT_OFF = "put off"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of a delivery, and why.

    Attributes
    ----------
    at : datetime or None
        When to try again. It may lie at the end of the validity: the notice then expires, and
        one of the state at that time takes its place.
    plain : bool
        Send minimal plain text from now on.
    fall_back : bool
        The contact's next channel should start now.
    operator : bool
        The person who can mend it should be told.
    """

    verdict: Verdict
    reason: str
    at: datetime | None = None
    plain: bool = False
    fall_back: bool = False
    operator: bool = False


def next_try(
    urgent: bool,
    tries: int,
    now: datetime,
    valid_until: datetime,
    jitter: float,
    failure: DeliveryFailed,
    *,
    plain: bool = False,
    rules: Rules = USUAL,
) -> Decision:
    """Decide what becomes of a delivery after a failed try.

    Parameters
    ----------
    urgent : bool
        By which schedule it goes.
    tries : int
        Tries spent, this one included: at least 1.
    now : datetime
        When the try ended.
    valid_until : datetime
        Nothing is tried after this.
    jitter : float
        Drawn evenly from -1 to 1: waits differ by up to 20 %, so that crowds disperse.
    failure : DeliveryFailed
        What happened.
    plain : bool
        Whether it was minimal plain text already.
    rules : Rules
        How far apart tries become, and how long a channel is left alone.
    """
    rule = rule_of(failure)
    match rule:
        case Rule.REFUSED:
            return Decision(Verdict.REFUSED, rule.value, fall_back=True, operator=True)
        case Rule.GONE:
            return Decision(Verdict.GONE, rule.value, fall_back=True, operator=True)
        case Rule.PLAIN_ONCE if plain:
            return Decision(Verdict.REFUSED, rule.value, fall_back=True, operator=True)
        case Rule.PLAIN_ONCE:
            return Decision(Verdict.RETRY, rule.value, at=now, plain=True)
        case Rule.CHANNEL_DOWN:
            # Not less than a minute: a mail server locks an account that knocks too often.
            at = min(now + rules.channel_down_for, valid_until)
            return Decision(Verdict.PUT_OFF, rule.value, at=at, fall_back=True, operator=True)
        case Rule.BLINK if tries > len(BLINK_WAITS):
            return Decision(Verdict.REFUSED, rule.value, fall_back=True, operator=True)
        case _:
            wait = _wait(rule, urgent, tries, failure.retry_after, jitter, rules)
            # Whoever asks for longer than that will not take it in time, however often we knock.
            asked = wait if failure.retry_after is None else failure.retry_after
            too_late = now + max(wait, asked) >= valid_until
            return Decision(
                Verdict.RETRY,
                rule.value,
                at=min(now + wait, valid_until),
                fall_back=too_late or rule is Rule.INSECURE,
                operator=rule is Rule.INSECURE,
            )


def rule_of(failure: DeliveryFailed) -> Rule:
    """Rule of a failure; a channel without rules of its own says only permanent or not."""
    if isinstance(failure, SendFailed):
        return failure.rule
    return Rule.REFUSED if failure.permanent else Rule.AGAIN


def usual_wait(urgent: bool, tries: int, rules: Rules) -> timedelta:
    """How long after a failed try the next one follows, where nothing special was said.

    Parameters
    ----------
    tries : int
        Tries spent: at least 1.
    """
    waits: tuple[timedelta, ...] = URGENT_WAITS if urgent else OTHER_WAITS
    most = rules.urgent_tries_apart if urgent else rules.other_tries_apart
    return most if tries >= len(waits) else min(waits[tries - 1], most)


def _wait(
    rule: Rule,
    urgent: bool,
    tries: int,
    retry_after: timedelta | None,
    jitter: float,
    rules: Rules,
) -> timedelta:
    if retry_after is not None:
        return max(RETRY_AFTER_LEAST, min(retry_after, rules.retry_after_most))
    own = _OWN_WAITS.get(rule)
    wait = usual_wait(urgent, tries, rules) if own is None else own[min(tries, len(own)) - 1]
    return wait * (1 + JITTER * max(-1.0, min(jitter, 1.0)))
