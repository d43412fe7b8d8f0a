"""Asking a person: an offer that Enter takes, a mend for rubbish, and a way back."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import suppress
from typing import Final, TypeVar

import click

from windwatch.cli.show import hanging, paragraph
from windwatch.errors import UsageError
from windwatch.settings.starting_read import Refusal
from windwatch.settings.words import shown

Answer = TypeVar("Answer")

BACK: Final = "back"
HELP: Final = "?"
_AGREED: Final = ("yes", "y")
# Offers that "yes" does not take: there it means the opposite, or itself.
_NOT_AGREED: Final = ("", "-", "n", "no", "no more", "none", "not yet", "y", "yes")
_NO_MORE_SAID: Final = "Answer in a word or a figure, as it stands in brackets."


class _Back(Exception):
    """Somebody wishes to go back; `Asker.talk` alone sees it."""


class Asker:
    """Puts the questions, or takes what was offered where nobody is to be asked.

    Going back is telling the talk again with one answer less: what is asked later may depend on
    every answer before, and is then right by itself.

    Attributes
    ----------
    silent : bool
        No question is put (``--yes``): offers are taken, and what has none is missed.
    """

    def __init__(self, *, silent: bool) -> None:
        self.silent = silent
        self._answers: list[str] = []
        # How many of these the talk, told again, has been through.
        self._retold = 0
        # What was answered to a question when it was last put: offered when it is put again.
        self._kept: dict[tuple[str, str, str | None], str] = {}
        if not silent and sys.stdin.isatty():
            # With it the arrow keys move in the line; Windows has them without.
            with suppress(ImportError):
                import readline  # noqa: F401, PLC0415 - importing it is all it needs

    def talk(self, questions: Callable[[], Answer]) -> Answer:
        """Put questions one after another; ``back`` goes to the one before.

        Parameters
        ----------
        questions : callable
            Asks, and returns what comes of the answers. It is called again after each ``back``,
            and must ask the same after the same answers.
        """
        while True:
            self._retold = 0
            try:
                found = questions()
            except _Back:
                self._answers.pop()
                continue
            self._answers.clear()
            self._retold = 0
            return found

    def say(self, *paragraphs: str) -> None:
        """Say something on the way; in silence, and where it was said already, nothing."""
        if self.silent or self._retold < len(self._answers):
            return
        for text in paragraphs:
            click.echo(paragraph(text) if "\n" not in text else text)

    def ask(
        self,
        label: str,
        read: Callable[[str], Answer],
        *,
        option: str,
        given: str | None = None,
        offered: str | None = None,
        said: str = "",
        explained: bool = False,
        about: str = "",
    ) -> Answer:
        """Ask until the answer can be read.

        Parameters
        ----------
        label : str
            The question, short enough for one line with its offer.
        read : callable
            Raises `Refusal` for rubbish.
        option : str
            What answers it without a question, for the words of a refusal.
        given : str or None
            What that option said.
        offered : str or None
            What Enter takes; None: it must be answered.
        said : str
            What one should know before answering.
        explained : bool
            That was said before: only ``?`` shows it.
        about : str
            What is asked about. After going back a former answer is offered only where label,
            offer and this are the same.

        Raises
        ------
        UsageError
            If the option's answer is refused, or there is neither an answer nor an offer.
        """
        if given is not None:
            return read_option(option.partition(" ")[0], given, read)
        if self.silent:
            if offered is None:
                raise UsageError(f"{label}: not given; add {option}")
            return read_option(option.partition(" ")[0], offered, read)
        if self._retold < len(self._answers):
            self._retold += 1
            return read(self._answers[self._retold - 1])
        if said and not explained:
            click.echo()
            click.echo(paragraph(said))
        question = (label, about, offered)
        text, answer = self._answered(
            label, read, offer=self._kept.get(question, offered), option=option, said=said
        )
        self._kept[question] = text
        self._answers.append(text)
        self._retold += 1
        return answer

    def _answered(
        self,
        label: str,
        read: Callable[[str], Answer],
        *,
        offer: str | None,
        option: str,
        said: str,
    ) -> tuple[str, Answer]:
        """Put a question until its answer can be read; the answer as typed, and as read."""
        while True:
            text = self._line(label, offer, option)
            if text == HELP:
                click.echo(paragraph(said or _NO_MORE_SAID, "  "))
                continue
            if not text and offer is None:
                click.echo("  This cannot be left out.")
                continue
            if text.lower() in _AGREED and (offer or "").lower() not in _NOT_AGREED:
                text = ""
            text = text or offer or ""
            try:
                return text, read(text)
            except Refusal as error:
                click.echo(hanging(f"  {error.problem}; {error.mend}."))

    def yes(
        self,
        label: str,
        *,
        option: str,
        offered: bool = True,
        said: str = "",
        explained: bool = False,
        about: str = "",
    ) -> bool:
        """A question for yes or no."""

        def read(text: str) -> bool:
            word = text.strip().lower()
            if word in {"y", "yes", "n", "no"}:
                return word in {"y", "yes"}
            raise Refusal(f"{shown(text)} is neither yes nor no", "write yes or no")

        offer = "yes" if offered else "no"
        return self.ask(
            label,
            read,
            option=option,
            offered=offer,
            said=said,
            explained=explained,
            about=about,
        )

    def _line(self, label: str, offer: str | None, option: str) -> str:
        """What is typed; ``back`` does not return."""
        prompt = f"{label}{f' [{offer}]' if offer else ''}: "
        while True:
            try:
                typed = input(prompt).strip()
            except EOFError:
                click.echo()
                raise UsageError(
                    f"the answers end at {prompt.strip()!r}, and nothing was written; answer it, "
                    f"or give {option}; --yes takes what is offered"
                ) from None
            except UnicodeDecodeError:
                click.echo("  That cannot be read as text; type it again.")
                continue
            if not sys.stdin.isatty():
                # No terminal has shown what was typed, nor ended its line.
                click.echo("".join(each if each.isprintable() else "?" for each in typed))
            if typed.lower() != BACK:
                return typed
            if self._answers:
                raise _Back
            click.echo("  There is no question before this one.")


def read_option(option: str, text: str, read: Callable[[str], Answer]) -> Answer:
    """Read what an option says.

    Raises
    ------
    UsageError
        With the mend.
    """
    try:
        return read(text)
    except Refusal as error:
        # The whole text is not quoted: somebody may have written a password into it.
        raise UsageError(f"{option}: {error.problem}; {error.mend}") from None
