"""The troubles of windwatch in words: what is wrong, what it means, what a person can do."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from windwatch.notices.operator import Trouble
from windwatch.notices.outbox import Route

FEED: Final = "feed"
STORE: Final = "store"
REPAIRED: Final = "store repaired"
CLOCK: Final = "clock"
WORDS: Final = "words"
# A certificate that begins in the future says more about the clock than about the feed.
NOT_YET_VALID: Final = "not yet valid"
YEARS_BEHIND: Final = "by it the certificate of the feed is not yet valid, so it is likely behind"
CONFIG: Final = "configuration"
RESTART: Final = "configuration needs a restart"


def feed_trouble(problem: str) -> Trouble:
    """The feed gives nothing."""
    headline = "the feed gives no reports"
    mend = "See whether the feed's address answers, and whether it changed its rules."
    if "certificate" in problem:
        headline = "the certificate of the feed is not valid, and it is not used"
        mend = "Ask whoever runs the feed; nothing is fetched past an invalid certificate."
        if NOT_YET_VALID in problem:
            mend = f"Look at the clock of this machine first. {mend}"
    elif "staying away" in problem or "HTTP 403" in problem or "HTTP 429" in problem:
        headline = "the feed asks us to stay away"
        mend = "Ask less often (feed.every), or write to whoever runs the feed."
    means = (
        "Until it answers, nothing new is known of its stations; who holds an open alert is told "
        "when the last observation has become too old. Nothing is called back within limits."
    )
    return Trouble(FEED, headline, means, mend, problem)


def store_trouble(problem: str) -> Trouble:
    """The store cannot be written."""
    return Trouble(
        STORE,
        "the store cannot be written, and the record is incomplete",
        "People are warned directly, past the store. Nothing is called back within limits, and "
        "what is not written may be told again after a restart.",
        "Make room on the disk, and look at the permissions of the store and of its folder.",
        problem,
    )


def repaired_trouble(why: str) -> Trouble:
    """The store is a new one, or came from a backup."""
    return Trouble(
        REPAIRED,
        "the store is not the one that windwatch had before",
        "What people were told before may be told again.",
        "Keep what was set aside until somebody has looked at it.",
        why,
    )


def clock_trouble(since: datetime, reason: str) -> Trouble:
    """The clock of the machine cannot be believed."""
    return Trouble(
        CLOCK,
        f"the clock of this machine is in doubt since {since:%Y-%m-%d %H:%MZ}",
        "Warnings go on. Nobody is told that anything is back within limits, or that nothing is "
        "known, until two polls in a row agree with the clock again.",
        "Set the clock of the machine that windwatch runs on, and let it be kept by the network.",
        reason,
    )


def words_trouble(notice: str) -> Trouble:
    """A notice could not be put into its usual words."""
    return Trouble(
        WORDS,
        "a notice could not be put into its usual words",
        "The bare facts went out as plain text.",
        "Look into the log for words_failed, and send it to whoever mends windwatch.",
        f"notice {notice}",
    )


def config_trouble(problem: str) -> Trouble:
    """The files of the configuration were changed, and cannot be used."""
    return Trouble(
        CONFIG,
        "the changed configuration cannot be used, and the old one goes on",
        "Everything is judged and told as before the change. Started anew now, windwatch would "
        "refuse it, and nobody would watch.",
        "Mend the file; windwatch config check names every fault. It is taken as soon as it is "
        "good.",
        problem,
    )


def restart_trouble(problem: str) -> Trouble:
    """A change was taken but for what only a new start can take."""
    return Trouble(
        RESTART,
        "a part of the changed configuration waits for a restart",
        "Until then the watch goes on with the store that it has; commands that read the changed "
        "configuration look into the other one.",
        "Stop the watch and start it again, or put the old value back.",
        problem,
    )


def route_key(route: Route) -> str:
    """Key of a route that fails."""
    return f"delivery {route.contact} / {route.channel}"


def route_trouble(route: Route, answer: str) -> Trouble:
    """A contact's channel does not take what it is given."""
    return Trouble(
        route_key(route),
        f"{route.contact} is not reached by {route.channel}",
        "What cannot be delivered in time is replaced by one notice of the state then.",
        "Mend the address or the server; windwatch send-test proves that it works.",
        answer,
    )


def contact_key(contact: str) -> str:
    """Key of a contact that nothing reaches."""
    return f"contact {contact}"


def is_of_a_contact(key: str) -> bool:
    """Whether a trouble is about reaching one contact."""
    return key.startswith(("delivery ", "contact "))


def contact_trouble(contact: str, answers: str) -> Trouble:
    """No channel of a contact works."""
    return Trouble(
        contact_key(contact),
        f"{contact} is reached by no channel",
        "This contact hears no warning at all.",
        "Tell them by voice, and mend a channel; windwatch send-test proves that it works.",
        answers,
    )
