"""Asking a person: an offer that Enter takes, a mend for rubbish and the same question again."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TypeVar

import click

from windwatch.cli.show import hanging, paragraph
from windwatch.errors import UsageError
from windwatch.settings.starting_read import Refusal

Answer = TypeVar("Answer")


class Asker:
    """Puts the questions, or takes what was offered where nobody is to be asked.

    Attributes
    ----------
    silent : bool
        No question is put (``--yes``): offers are taken, and what has none is missed.
    """

    def __init__(self, *, silent: bool) -> None:
        self.silent = silent

    def say(self, *paragraphs: str) -> None:
        """Say something on the way; in silence nothing."""
        if not self.silent:
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
        if said:
            click.echo()
            click.echo(paragraph(said))
        while True:
            typed = self._line(f"{label}{'' if not offered else f' [{offered}]'}: ", option)
            if not typed and offered is None:
                click.echo(hanging("  This cannot be left out."))
                continue
            try:
                return read(typed or offered or "")
            except Refusal as error:
                click.echo(hanging(f"  {error.problem}; {error.mend}."))

    def yes(self, label: str, *, option: str, offered: bool = True, said: str = "") -> bool:
        """A question for yes or no."""

        def read(text: str) -> bool:
            word = text.strip().lower()
            if word in {"y", "yes", "n", "no"}:
                return word in {"y", "yes"}
            raise Refusal(f"{text!r} is neither yes nor no", "write yes or no")

        return self.ask(label, read, option=option, offered="yes" if offered else "no", said=said)

    @staticmethod
    def _line(prompt: str, option: str) -> str:
        try:
            typed = input(prompt).strip()
        except EOFError:
            click.echo()
            raise UsageError(
                f"the answers end at {prompt.strip()!r}, and nothing was written; answer it, or "
                f"give {option}; --yes takes what is offered"
            ) from None
        if not sys.stdin.isatty():
            # No terminal has shown what was typed, nor ended its line.
            click.echo(typed)
        return typed


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
