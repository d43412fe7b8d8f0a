"""A notice that did not arrive, once more by hand: as the state now, never the old text."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from windwatch import pipeline
from windwatch.delivery.channels import ChannelBook
from windwatch.episodes.books import Setup
from windwatch.episodes.values import computed_id
from windwatch.errors import UsageError
from windwatch.notices.compose import compose
from windwatch.notices.plain import compose_plain
from windwatch.notices.restate import state_now
from windwatch.notices.telling import situation_now
from windwatch.notices.values import Notice
from windwatch.record import Compose, load_states, words_for
from windwatch.settings.running import Settings
from windwatch.store.store import Store


def resend(
    settings: Settings,
    store: Store,
    channels: ChannelBook,
    notice: Notice,
    now: datetime,
    with_links: Compose | None = None,
) -> Notice:
    """Put a notice of the state now into the outbox, in the place of one that was sent before.

    Returns
    -------
    Notice
        The new one; whoever drains the outbox sends it.

    Raises
    ------
    UsageError
        If its contact or airfield is not configured any more, or was never watched.
    """
    fleet = settings.fleet
    if all(contact.name != notice.contact for contact in fleet.contacts):
        raise UsageError(f"{notice.contact}: no contact of that name is configured any more")
    airfield = next((each for each in fleet.airfields if each.id == notice.airfield), None)
    state = load_states(store).get(notice.airfield)
    if airfield is None or state is None:
        raise UsageError(f"{notice.airfield or 'this notice'}: nothing is known of it now")
    setup = Setup(fleet)
    books = pipeline.restore(setup, airfield, state)
    situation = situation_now(setup, airfield, books, notice.contact, now)
    new = replace(
        state_now(notice.contact, airfield, (notice,), situation, fleet.rules, now),
        id=computed_id(notice.contact, "by hand", notice.id, now.isoformat()),
        late_because="it was sent again by hand",
    )
    content = words_for(new, situation, fleet, with_links or compose, compose_plain)
    with store.transaction() as opened:
        opened.enqueue(new, content, channels.starts_of(new))
    return new
