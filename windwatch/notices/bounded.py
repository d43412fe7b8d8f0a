"""Words within a time and a size: whatever makes them may fail, loop or never end (promise 20).

A warning must not wait for its words. They are made in the thread that asks; a guard looks on,
and stops them where they take too long. For a minute after that nobody tries again: the bare
facts of everybody else go out at once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from windwatch.clock import SystemClock
from windwatch.errors import WindwatchError
from windwatch.notices.values import Content

T = TypeVar("T")

# Bare facts go out within 5 s (reliability, F54); the busiest notice takes a few milliseconds.
PATIENCE_S: Final = 2.0
# How often the guard looks. [s]
ROUND_S: Final = 0.25
# Code that swallows being stopped is stopped anew, but not for ever.
MOST_STOPS: Final = 8
# Whatever looped will loop again: so long nobody waits for it. [s]
PAUSE_S: Final = 60.0
# Characters. The busiest notices have a hundredth of these.
MOST_TEXT: Final = 500_000
MOST_HTML: Final = 2_000_000

_monotonic = SystemClock().monotonic


class WordsTooSlow(BaseException):
    """Raised by the guard in the middle of making words; no `except Exception` holds it up."""


class NoWords(WindwatchError):
    """No words could be made in time, or too many."""


@dataclass(slots=True, eq=False)
class _Making:
    """One notice being put into words: by which thread, until when, how often it was stopped.

    Attributes
    ----------
    may_stop : bool
        Whether its thread is where it can be stopped: neither on its way in nor on its way out.
    """

    thread: int
    ends_at: float
    stops: int = 0
    may_stop: bool = False


class Guard:
    """Stops what takes too long to put into words.

    Parameters
    ----------
    patience_s : float
        How long the words of one notice may take. [s]
    pause_s : float
        How long after that the bare facts go out without trying. [s]
    """

    def __init__(
        self,
        patience_s: float = PATIENCE_S,
        pause_s: float = PAUSE_S,
        monotonic: Callable[[], float] = _monotonic,
    ) -> None:
        self._patience_s = patience_s
        self._pause_s = pause_s
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._making: list[_Making] = []
        self._looks = False
        self._wanted = threading.Event()
        self._not_before = float("-inf")

    def words(self, make: Callable[[], Content]) -> Content:
        """Make words, within the time and the size that they may have.

        Raises
        ------
        NoWords
            If they take too long, have taken too long a moment ago, or are too many.
        Exception
            Whatever `make` raises.
        """
        content = self.made(make)
        _check_size(content)
        return content

    def made(self, make: Callable[[], T]) -> T:
        """Make something else within that time, a drawing say.

        Raises
        ------
        NoWords, Exception
            As `words`.
        """
        if self._monotonic() < self._not_before:
            raise NoWords("words took too long a moment ago; they are tried again in a minute")
        making = self._begin()
        try:
            try:
                making.may_stop = True
                return make()
            finally:
                # From here on the guard begins no stop; but one may be under way, and another
                # be just given. That makes two, and three times it is tried to end it before
                # anything leaves.
                making.may_stop = False
                try:
                    self._end(making)
                except WordsTooSlow:
                    self._end(making)
        except WordsTooSlow:
            self._end(making)
            self._not_before = self._monotonic() + self._pause_s
            raise NoWords(f"the words took longer than {self._patience_s:g} s") from None

    def _begin(self) -> _Making:
        making = _Making(threading.get_ident(), self._monotonic() + self._patience_s)
        with self._lock:
            self._making.append(making)
            if not self._looks:
                self._looks = self._start_looking()
        self._wanted.set()
        return making

    def _start_looking(self) -> bool:
        """Have a guard; where no thread is to be had, words are made without one."""
        try:
            threading.Thread(target=self._look_on, name="words", daemon=True).start()
        except RuntimeError:
            return False
        return True

    def _end(self, making: _Making) -> None:
        """Have it stopped no more; done twice it does nothing more."""
        while True:
            try:
                with self._lock:
                    if making in self._making:
                        self._making.remove(making)
                    if making.stops:
                        # On its way to a thread that has just come to an end by itself.
                        _interrupt(making.thread, None)
            except WordsTooSlow:
                continue
            return

    def _look_on(self) -> None:
        """Look at what is being made every little while; sleep while there is nothing."""
        rest = threading.Event()
        while True:
            self._wanted.wait()
            rest.wait(ROUND_S)
            with self._lock:
                now = self._monotonic()
                for making in self._making:
                    late = making.ends_at <= now and making.stops < MOST_STOPS
                    if late and making.may_stop:
                        making.stops += 1
                        _interrupt(making.thread, WordsTooSlow)
                if not self._making:
                    self._wanted.clear()


def _interrupt(thread: int, error: type[BaseException] | None) -> None:
    """Raise an error in another thread at its next step; None takes back what was not raised."""
    import ctypes  # noqa: PLC0415 - hardly ever needed

    what = None if error is None else ctypes.py_object(error)
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), what)


def _check_size(content: Content) -> None:
    sizes = (
        ("text", len(content.subject) + len(content.text), MOST_TEXT),
        ("HTML", len(content.html), MOST_HTML),
        ("payload", sum(_weights(content.payload)), MOST_TEXT),
    )
    for what, size, most in sizes:
        if size > most:
            raise NoWords(f"the {what} has {size} characters, and {most} are the most")


def _weights(value: Any) -> Iterator[int]:
    """How long the texts in a payload are; anything else counts as a few letters."""
    if isinstance(value, str):
        yield len(value)
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield len(key)
            yield from _weights(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _weights(each)
    else:
        yield 8


def within(pieces: Iterator[str], most: int = MOST_HTML) -> str:
    """Pieces of a text joined, as long as they come to an end.

    Raises
    ------
    NoWords
        Once they are too many: nothing more is kept of them.
    """
    kept: list[str] = []
    size = 0
    for piece in pieces:
        size += len(piece)
        if size > most:
            raise NoWords(f"the HTML has more than {most} characters")
        kept.append(piece)
    return "".join(kept)


GUARD: Final = Guard()
