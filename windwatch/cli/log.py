"""`log`, `explain`, `acknowledge`, `send-test`: what happened, why, and does a channel work."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import click

from windwatch.airmanship.cautions import CAUTION
from windwatch.cli.acknowledged import acknowledged_json, acknowledged_lines, taken_note_since
from windwatch.cli.explain_words import explained, told
from windwatch.cli.show import (
    caution_line,
    examples,
    iso,
    load_settings,
    moment_of,
    paragraph,
    print_json,
    table,
    with_exit_status,
)
from windwatch.clock import SystemClock
from windwatch.delivery.channels import Accepted, Channel, send_now
from windwatch.delivery.folder import FolderChannel
from windwatch.episodes.told import is_standing
from windwatch.episodes.values import Step, StepName, TrackKind, computed_id
from windwatch.errors import DeliveryFailed, NoUsableReports, UsageError
from windwatch.fleet import Contact
from windwatch.notices.clean import visible
from windwatch.notices.outbox import Route, new_delivery
from windwatch.notices.trial import VALID, compose_test
from windwatch.notices.values import Notice
from windwatch.notices.words import quantity
from windwatch.recording import recorded_lines
from windwatch.rules import Rules, in_words
from windwatch.settings.running import Settings
from windwatch.store.store import Store
from windwatch.store.values import StoredEpisode, StoredNotice
from windwatch.wiring import make_channels, open_store_of

_CONFIG = click.argument("config", type=click.Path(path_type=Path))


# --- log ------------------------------------------------------------------------


@click.command(
    epilog=examples(
        "windwatch log field.toml --since 2026-09-22T12:00Z",
        "windwatch log field.toml --resend 3fa9c1d2",
        "windwatch log field.toml --recorded > day.txt",
    )
)
@_CONFIG
@click.option("--since", help="From this moment on (ISO, Z); 24 hours back if not given.")
@click.option("--contact", help="Only what this contact got.")
@click.option(
    "--resend", metavar="NOTICE", help="Have the present state sent in place of this notice."
)
@click.option(
    "--recorded", is_flag=True, help="What was judged instead, as a file that `replay` plays."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def log(
    config: Path,
    since: str | None,
    contact: str | None,
    resend: str | None,
    recorded: bool,
    as_json: bool,
) -> None:
    """Show what happened and what was sent, to whom, and what became of it.

    With --resend a notice that did not arrive is followed by one of the state now: an old text
    is never sent again. The watch that runs on this configuration sends it.

    With --recorded come the reports that counted with the times at which they came, and what else
    was judged, from the beginning unless --since is given: `replay` makes the same notices of it.
    """
    settings = load_settings([config], require_secrets=False)
    clock = SystemClock()
    if resend is not None:
        _resend(settings, clock, resend)
        return
    if recorded:
        with open_store_of(settings, clock) as store:
            for line in recorded_lines(store, moment_of(since) if since else None):
                click.echo(visible(line, 2 * len(line)))
        return
    now, rules = clock.now(), settings.fleet.rules
    from_ = moment_of(since) if since else now - timedelta(hours=24)
    with open_store_of(settings, clock) as store:
        notices = store.notices(since=from_, contact=contact)
        episodes = store.episodes(since=from_)
        taken = taken_note_since(store, from_)
        if as_json:
            print_json(
                {
                    "since": iso(from_),
                    "notices": [_notice_json(store, n) for n in notices],
                    "open_episodes": [
                        {
                            "id": e.id,
                            "track": e.track,
                            "opened_at": iso(e.opened_at),
                            "standing": stands(e, rules, now),
                        }
                        for e in episodes
                        if e.closed_at is None
                    ],
                    "acknowledgements": acknowledged_json(taken),
                    "caution": CAUTION,
                }
            )
            return
        rows = [
            (
                f"{n.notice.at:%d %H:%MZ}",
                n.notice.contact,
                visible(n.content.subject),
                "; ".join(f"{d.channel} {d.state}" for d in n.deliveries),
                n.notice.id[:8],
            )
            for n in notices
        ]
        if rows:
            click.echo(table(rows, ("made", "contact", "subject", "deliveries", "notice")))
        else:
            click.echo(f"No notice since {iso(from_)}. That says nothing about the wind.")
        still = [e for e in episodes if e.closed_at is None]
        if still:
            click.echo("\nOpen episodes")
            click.echo(
                table(
                    [(f"{e.opened_at:%d %H:%MZ}", _track_words(e.track), e.id[:8]) for e in still],
                    ("since", "track", "episode"),
                )
            )
        if taken:
            click.echo("\nTaken note of")
            click.echo(acknowledged_lines(store, taken, _track_words))
        for hint in dict.fromkeys(standing_words(e, rules) for e in still if stands(e, rules, now)):
            click.echo(paragraph(hint, hang="  "))
        for failed in _troubles(store, notices):
            click.echo(paragraph(f"not delivered: {failed}", hang="  "))
    click.echo()
    click.echo(caution_line())


def _resend(settings: Settings, clock: SystemClock, beginning: str) -> None:
    from windwatch.board.links import composer  # noqa: PLC0415 - loads all words
    from windwatch.resend import resend  # noqa: PLC0415 - loads the whole pipeline

    with open_store_of(settings, clock) as store:
        found = {f.id for f in store.find(beginning) if f.kind == "notice"}
        if not found:
            raise UsageError(f"{beginning}: no notice begins so; `windwatch log` lists them")
        if len(found) > 1:
            names = ", ".join(sorted(id_[:12] for id_ in found))
            raise UsageError(f"{beginning} may be any of these: {names}; give more letters")
        stored = store.notice(found.pop())
        if stored is None:
            raise UsageError(f"{beginning}: it is not kept any more")
        new = resend(
            settings,
            store,
            make_channels(settings),
            stored.notice,
            clock.now(),
            composer(settings.board),
        )
    click.echo(f"Notice {new.id[:8]} to {new.contact} tells the state now; the watch sends it.")
    click.echo(caution_line())


def _track_words(track: str) -> str:
    """A track, as the store names it, in words."""
    kind, airfield, aircraft, pilot, measured = (track.split("/") + [""] * 5)[:5]
    subject = " / ".join(part for part in (aircraft, pilot) if part)
    return " ".join(part for part in (airfield, quantity(measured or kind), subject) if part)


def stands(episode: StoredEpisode, rules: Rules, now: datetime) -> bool:
    """Whether it is past its limit, and standing."""
    over = episode.last_step != StepName.NEAR
    return over and is_standing(episode.opened_at, rules, now)


def standing_words(episode: StoredEpisode, rules: Rules) -> str:
    """A hint to review what has been over for so long."""
    hint = "" if episode.track.startswith(f"{TrackKind.THUNDER}/") else "; review the limit"
    return (
        f"standing: {_track_words(episode.track)} has been open for over "
        f"{in_words(rules.standing_after)}; nobody is reminded of it any more{hint}"
    )


def _troubles(store: Store, notices: tuple[StoredNotice, ...]) -> Iterator[str]:
    for n in notices:
        for d in n.deliveries:
            if d.state in ("refused", "expired", "dead"):
                tries = len(store.attempts(d.id))
                answer = visible(d.last_answer, 200)
                yield f"{d.notice.contact} by {d.channel}: {d.state} after {tries} tries; {answer}"


def _notice_json(store: Store, stored: StoredNotice) -> dict[str, Any]:
    notice = stored.notice
    return {
        "id": notice.id,
        "at": iso(notice.at),
        "contact": notice.contact,
        "airfield": notice.airfield,
        "kind": notice.kind,
        "subject": stored.content.subject,
        "steps": [_step_json(step) for step in notice.steps],
        "deliveries": [
            {
                "id": d.id,
                "channel": d.channel,
                "state": d.state.value,
                "tries": len(store.attempts(d.id)),
                "last_answer": d.last_answer,
            }
            for d in stored.deliveries
        ],
    }


def _step_json(step: Step) -> dict[str, Any]:
    found = step.finding
    return {
        "id": step.id,
        "episode": step.episode,
        "step": step.name.value,
        "track": step.track.name,
        "runway": step.runway,
        "at": iso(step.at),
        "level": step.level.word,
        "quantity": None if found is None else found.quantity,
        "figure_kt": None if found is None else found.figure,
        "limit_kt": None if found is None else found.limit.value,
        "whose": None if found is None else found.limit.whose,
        "reason": step.reason,
        "reports": [r.raw for r in step.reports],
    }


# --- explain ----------------------------------------------------------------------


@click.command(epilog=examples("windwatch explain field.toml 3fa9c1d2"))
@_CONFIG
@click.argument("what", metavar="NOTICE|EPISODE")
@click.option("--json", "as_json", is_flag=True, help="One JSON document instead of words.")
@with_exit_status
def explain(config: Path, what: str, as_json: bool) -> None:
    """Show how a notice or an episode came about, from the raw report on.

    The id may be cut to its first letters, as `log` shows it. Every figure can be checked with
    pencil and paper.
    """
    settings = load_settings([config], require_secrets=False)
    clock = SystemClock()
    with open_store_of(settings, clock) as store:
        found = [f for f in store.find(what) if f.kind in ("notice", "episode")]
        if not found:
            raise UsageError(f"{what}: no notice or episode begins so; `windwatch log` lists them")
        if len({f.id for f in found}) > 1:
            names = ", ".join(f"{f.kind} {f.id[:12]}" for f in found)
            raise UsageError(f"{what} may be any of these: {names}; give more letters")
        if found[0].kind == "notice":
            stored = store.notice(found[0].id)
            steps = () if stored is None else stored.notice.steps
            notices: tuple[StoredNotice, ...] = () if stored is None else (stored,)
        else:
            steps = store.steps(found[0].id)
            notices = store.notices_of(found[0].id)
        if as_json:
            print_json(
                {
                    "kind": found[0].kind,
                    "id": found[0].id,
                    "steps": [_step_json(step) for step in steps],
                    "notices": [_notice_json(store, n) for n in notices],
                    "caution": CAUTION,
                }
            )
            return
        click.echo(f"{found[0].kind} {found[0].id}")
        if not steps:
            click.echo("Nothing was found in it by itself.")
        for step in steps:
            click.echo()
            for line in explained(step, settings):
                click.echo(line)
        click.echo()
        for n in notices:
            for line in told(store, n):
                click.echo(line)
    click.echo()
    click.echo(caution_line())


# --- acknowledge ------------------------------------------------------------------


@click.command(epilog=examples('windwatch acknowledge field.toml 3fa9c1d2 --by "operations desk"'))
@_CONFIG
@click.argument("episode", metavar="EPISODE|NOTICE")
@click.option("--by", help="Your name or role; the name of the account if not given.")
@click.option("--note", default="", help="A word about it, for the record.")
@with_exit_status
def acknowledge(config: Path, episode: str, by: str | None, note: str) -> None:
    """Take note of an episode: its reminders stop for six hours, if nothing else is set.

    A new worst, missing data and the end are told all the same. With a notice's id, every
    episode it lists is meant.
    """
    settings = load_settings([config], require_secrets=False)
    clock = SystemClock()
    with open_store_of(settings, clock) as store:
        episodes = _episodes_meant(store, episode)
        who = by or getpass.getuser()
        moment = clock.now()
        with store.transaction() as books:
            for one in episodes:
                books.acknowledge(one, who, moment, note)
    count = len(episodes)
    click.echo(f"{who} took note of {count} episode{'' if count == 1 else 's'}.")
    lasts = in_words(settings.fleet.rules.acknowledged_for)
    click.echo(
        paragraph(
            f"Reminders stop for {lasts}; a new worst, missing data and the end are told all the "
            "same."
        )
    )
    click.echo(caution_line())


def _episodes_meant(store: Store, beginning: str) -> tuple[str, ...]:
    found = [f for f in store.find(beginning) if f.kind in ("episode", "notice")]
    if len({f.id for f in found}) > 1:
        names = ", ".join(f"{f.kind} {f.id[:12]}" for f in found)
        raise UsageError(f"{beginning} may be any of these: {names}; give more letters")
    if not found:
        raise UsageError(f"{beginning}: no episode or notice begins so; `windwatch log` lists them")
    if found[0].kind == "episode":
        return (found[0].id,)
    stored = store.notice(found[0].id)
    steps = () if stored is None else stored.notice.steps
    return tuple(dict.fromkeys(step.episode for step in steps))


# --- send-test --------------------------------------------------------------------


@click.command(
    "send-test",
    epilog=examples(
        'windwatch send-test field.toml "operations desk"',
        'windwatch send-test field.toml "operations desk" --turn-on',
    ),
)
@_CONFIG
@click.argument("contact", required=False)
@click.option(
    "--turn-on",
    is_flag=True,
    help="Use an address again that said it was gone, if it takes the test.",
)
@with_exit_status
def send_test(config: Path, contact: str | None, turn_on: bool) -> None:
    """Send a test notice by every channel of a contact (or of all).

    An address that said it was gone for good (410) gets no notices any more, until the
    configuration names another or you turn it on again here.
    """
    settings = load_settings([config])
    chosen = [c for c in settings.fleet.contacts if contact in (None, c.name)]
    if not chosen:
        names = ", ".join(c.name for c in settings.fleet.contacts)
        raise UsageError(f"{contact}: no contact of that name; there are {names}")
    channels = make_channels(settings)
    moment = SystemClock().now()
    failed = 0
    for person in chosen:
        for kind in person.channels:
            route = Route(person.name, kind)
            channel = channels.get(route)
            if channel is None:
                continue
            notice = _test_notice(person, moment)
            delivery = new_delivery(notice, compose_test(person.name, moment), kind)
            try:
                taken = send_now(channel, delivery, moment)
            except DeliveryFailed as error:
                failed += 1
                click.echo(paragraph(f"{person.name} by {kind}: NOT taken: {error}", hang="  "))
                continue
            said = f"{person.name} by {kind}: {_taken(channel, kind, taken)}"
            off = _turned_off(settings, route, channel.fingerprint, turn_on=turn_on)
            click.echo(paragraph(f"{said}{off}", hang="  "))
    if failed:
        raise NoUsableReports(f"{failed} of the test notices did not leave")


def _taken(channel: Channel, kind: str, taken: Accepted) -> str:
    """What became of it, as far as anybody knows: a file is written, the rest has only begun."""
    if isinstance(channel, FolderChannel):
        instead = "" if kind == "folder" else ", instead of being sent"
        return f"written to {channel.path / taken.answer}{instead}"
    answer = f" ({taken.answer})" if taken.answer else ""
    return f"the next hop took it{answer}"


def _turned_off(settings: Settings, route: Route, address: str, *, turn_on: bool) -> str:
    """What is to be said of an address that gets no notices, and turn it on where asked for."""
    path = settings.store.path
    if path is not None and not path.exists():
        return ""
    with open_store_of(settings, SystemClock(), check=False) as store:
        if not store.turned_off(route, address):
            return ""
        if not turn_on:
            return (
                "; but it said before that it is gone (410), and gets no notices: with --turn-on"
                " it gets them again"
            )
        store.turn_on(route)
        return "; it had said that it is gone, and gets notices again from now on"


def _test_notice(person: Contact, moment: datetime) -> Notice:
    return Notice(
        id=computed_id("test", person.name, moment.isoformat()),
        contact=person.name,
        airfield="",
        at=moment,
        kind="test",
        steps=(),
        urgent=True,
        valid_until=moment + VALID,
    )
