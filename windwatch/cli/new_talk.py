"""The whole talk of ``config new``: questions in order, a last look, what is said at the end."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Final, NamedTuple

from windwatch.airfields.table import open_table
from windwatch.cli.new_airfield import ask_airfield
from windwatch.cli.new_ask import Asker, read_option
from windwatch.cli.new_contacts import ask_contacts
from windwatch.cli.new_file import SCHEMA_NAME, checked, refuse_existing, write_checked
from windwatch.cli.new_given import Given
from windwatch.cli.new_overview import leaving_words, overview, starters_words
from windwatch.cli.new_people import ask_aircraft, ask_pilots, ask_who_flies
from windwatch.cli.new_stations import Neighbours, stands_words
from windwatch.cli.show import hanging
from windwatch.cli.stations import BY_HAND
from windwatch.errors import SettingsError, UsageError
from windwatch.feeds.values import FeedSettings
from windwatch.settings import starting_read as read
from windwatch.settings.running import Settings
from windwatch.settings.starting import Answers, ContactAnswer, FeedAnswer
from windwatch.settings.starting_parts import mapping as read_mapping
from windwatch.settings.starting_text import MAKE_ONE, as_toml, secrets_needed
from windwatch.settings.words import shown

# Kinds whose reports are about stations that the public Data API knows as well.
_PUBLIC: Final = ("awc", "awc-cache", "noaa-text", "noaa-cycles", "nws")
_WELCOME: Final = (
    "A few questions, and the file is written and checked. Enter takes what stands in brackets; "
    "back goes to the question before, and your answers are then offered again; ? explains a "
    "question. Nothing is written before the end; Ctrl-C leaves no trace."
)


class Written(NamedTuple):
    """The file that was written, and what it says."""

    path: Path
    settings: Settings


class Talk:
    """One guided start.

    Parameters
    ----------
    given : Given
        What needs no question.
    path : Path
        Where the file will be.
    replacing : bool
        A file that is there may be written over.
    today : date
        For the magnetic variation of runway numbers.
    """

    def __init__(self, given: Given, path: Path, today: date, *, replacing: bool) -> None:
        self._given = given
        self._path = path
        self._replacing = replacing
        self._today = today
        self._asker = Asker(silent=given.yes)
        self._answers: Answers | None = None

    def write(self) -> Written | None:
        """Put the questions and write the file; None where it is not wanted after all."""
        given, asker = self._given, self._asker
        _judge_feed(given)
        asker.say(_WELCOME)
        table = open_table(given.table)
        neighbours = Neighbours(_who_is_asked(given), table)

        def questions() -> bool:
            field = ask_airfield(asker, given, table, neighbours, self._today)
            aircraft = ask_aircraft(asker, given)
            pilots = ask_pilots(asker, given)
            aircraft = ask_who_flies(asker, given, aircraft, pilots)
            telling = ask_contacts(asker, given, aircraft)
            self._answers = Answers(
                feed=_feed(asker, given, telling.contacts),
                airfield=field,
                aircraft=aircraft,
                pilots=pilots,
                contacts=telling.contacts,
                mail=telling.mail,
                mail_folder=telling.folder,
                schema_url=f"./{SCHEMA_NAME}",
            )
            return self._wanted(self._answers)

        return self._written() if asker.talk(questions) else None

    def _wanted(self, answers: Answers) -> bool:
        """Whether it shall be written, after a last look at what it comes to."""
        if self._asker.silent:
            return True
        try:
            settings = checked(self._path, as_toml(answers))
        except SettingsError as error:
            faults = "\n".join(hanging(str(fault)) for fault in error.faults)
            self._asker.say("", f"It cannot be written so:\n{faults}")
            return self._asker.ask("Type back, to change it", _only_back, option="--yes")
        self._asker.say("", overview(settings, answers, self._path, self._today), "")
        return self._asker.yes(
            "Write it, or back?",
            option="--yes",
            said="Yes: it is written. Back: the question before. No: nothing is written.",
            explained=True,
        )

    def _written(self) -> Written:
        text = as_toml(self._given_answers())
        while True:
            try:
                settings = write_checked(self._path, text, replacing=self._replacing)
            except UsageError as error:
                if self._asker.silent:
                    raise
                # So many answers are not given twice.
                self._asker.say(f"  {error}.")
                self._path = self._asker.ask("Another file", self._other_file, option="FILE")
            else:
                return Written(self._path, settings)

    def _other_file(self, text: str) -> Path:
        path = Path(read.folder(text))
        try:
            refuse_existing(path, replacing=self._replacing)
        except UsageError as error:
            raise read.Refusal(str(error), "or end with Ctrl-C") from None
        return path

    # --- afterwards ------------------------------------------------------------------

    def last_words(self, settings: Settings) -> Iterator[str]:
        """What must be known of the file, a paragraph each; what was shown before, not again."""
        answers = self._given_answers()
        if self._asker.silent:
            for warning in settings.warnings:
                yield f"Look at {warning}"
            yield from stands_words(answers.airfield)
            yield from starters_words(answers)
            yield from leaving_words(answers)
        for name in self._missing_secrets():
            made = "" if name.endswith("PASSWORD") else f", as made by {MAKE_ONE}"
            yield f"Before it starts, set the environment variable {name}{made}."

    def mail_folder(self) -> str:
        """Where mails are left as files; '' where a server takes them."""
        return self._given_answers().mail_folder

    def wants_test(self) -> bool:
        """Whether a test notice is to be sent: asked last, and only where one can leave."""
        missing = self._missing_secrets()
        if self._given.test is False or (self._given.yes and not self._given.test):
            return False
        if missing:
            self._asker.say(
                f"A test notice can be sent once {', '.join(missing)} is set: windwatch send-test "
                f"{self._path}"
            )
            return False
        if self._given.test:
            return True
        try:
            return self._asker.yes("Send a test notice now?", option="--test or --no-test")
        except UsageError:
            # The answers end here. The file is written already; nothing is sent unasked.
            return False

    def _missing_secrets(self) -> list[str]:
        return [name for name in secrets_needed(self._given_answers()) if not os.environ.get(name)]

    def _given_answers(self) -> Answers:
        if self._answers is None:
            raise UsageError("nothing has been asked yet")
        return self._answers


def _only_back(text: str) -> bool:
    raise read.Refusal(f"{shown(text)} does not mend it", "type back, or end with Ctrl-C")


# --- the feed ------------------------------------------------------------------------------


def _judge_feed(given: Given) -> None:
    for option, only, value in (
        ("--feed-file", "recorded", given.feed_file),
        ("--feed-mapping", "json", given.feed_mapping),
    ):
        if value and given.feed != only:
            raise UsageError(f"{option} means nothing with --feed {given.feed}; add --feed {only}")
        if not value and given.feed == only:
            raise UsageError(f"--feed {only} needs {option}; see windwatch config new --help")
    if given.feed == "json" and not given.feed_url:
        raise UsageError("--feed json needs --feed-url, the address of the anemometer")


def _who_is_asked(given: Given) -> FeedSettings | None:
    """Whom to ask for stations nearby; None: nobody."""
    if given.offline or given.feed not in _PUBLIC:
        return None
    contact = given.feed_contact or given.email or BY_HAND
    own = given.feed_url if given.feed == "awc" and given.feed_url else ""
    return FeedSettings(
        "awc",
        url=own,
        contact=contact,
        allow_http=own.startswith("http:"),
        allow_networks=given.feed_network if own else (),
    )


def _feed(asker: Asker, given: Given, contacts: tuple[ContactAnswer, ...]) -> FeedAnswer:
    if given.feed == "recorded":
        return FeedAnswer("recorded", files=given.feed_file)
    own = next((contact.email for contact in contacts if contact.email), None)
    contact = asker.ask(
        "Your address",
        read.contact_address,
        option="--feed-contact ops@larkspur.example",
        given=given.feed_contact,
        offered=own,
        said=(
            "Public feeds ask who calls them: a mail or web address that goes into each request, "
            "so that their people can write before they block anybody."
        ),
    )
    mapping = given.feed_mapping
    return FeedAnswer(
        kind=given.feed,
        contact=contact,
        every=given.feed_every or "",
        url=given.feed_url or "",
        allow_networks=given.feed_network,
        mapping=() if mapping is None else read_option("--feed-mapping", mapping, read_mapping),
    )
