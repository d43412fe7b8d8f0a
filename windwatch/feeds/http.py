"""The one HTTP client of all feeds: polite, conditional, bounded.

It keeps, per address, what makes the next request conditional; per batch, when it was last
asked; per host, until when to stay away. A failed exchange is not repeated: the next poll is.
"""

from __future__ import annotations

import random
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Final, NamedTuple
from urllib.parse import urljoin, urlsplit

import requests

from windwatch import __version__
from windwatch.clock import Clock
from windwatch.errors import FeedBusy, FeedError
from windwatch.feeds.report_text import in_minutes, quoted
from windwatch.feeds.values import PUBLIC_KINDS, FeedSettings
from windwatch.outward import (
    OutwardError,
    Refused,
    TooSlow,
    check_url,
    ending_within,
    in_words,
    open_session,
    read_capped,
)

REDIRECTS: Final = (301, 302, 303, 307, 308)
MAX_REDIRECTS: Final = 2
MAX_REMEMBERED: Final = 1000  # addresses; more would only fill memory
ERROR_PAGE: Final = 4096  # bytes of an error's body worth reading
# A mistaken Retry-After of years must not end the watch.
MAX_RETRY_AFTER: Final = timedelta(hours=24)
# A poll that comes a moment early waits for the minute to be full instead of being lost.
EARLY_S: Final = 2.0


class Manners(NamedTuple):
    """How a source wants to be asked; times in seconds.

    Attributes
    ----------
    spacing_s : float
        Least time between two requests for one batch.
    first_wait_s, most_wait_s : float
        How long to stay away after the first failure, and at most.
    total_s : float
        For one whole fetch, all its requests together.
    """

    spacing_s: float = 60.0
    first_wait_s: float = 60.0
    most_wait_s: float = 900.0
    connect_s: float = 10.0
    read_s: float = 15.0
    total_s: float = 20.0


PUBLIC: Final = Manners()
# A field's own device: asked as often as configured, and never left alone for long, because
# its values are stale after ten minutes.
OWN: Final = Manners(spacing_s=0.0, first_wait_s=10.0, most_wait_s=60.0)


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer that may hold reports.

    Attributes
    ----------
    status : int
        200, 204 or 304.
    body : bytes
        Decompressed.
    whole : bool
        The framing proves that nothing is missing at the end.
    server_date : datetime or None
        The feed's own clock, UTC.
    """

    url: str
    status: int
    content_type: str
    body: bytes
    whole: bool
    server_date: datetime | None
    validators: tuple[tuple[str, str], ...] = ()

    def came(self) -> str:
        """Name what came, for an error: status, type, and how it begins."""
        return came(self.status, self.content_type, self.body)


def came(status: int, content_type: str, body: bytes) -> str:
    """Name what came: status, type, and how it begins."""
    kind = quoted(content_type, 40).strip('"') or "no content type"
    start = quoted(body[:1000].decode("utf-8", errors="replace")) if body.strip() else "empty"
    return f"HTTP {status}, {kind}, {start}"


class FeedClient:
    """Asks one source.

    Parameters
    ----------
    settings : FeedSettings
        The source.
    clock : Clock
        Measures spacing, waiting and deadlines.
    manners : Manners or None
        None: by the kind of source.
    session : requests.Session or None
        Replaced in tests.
    chance : callable
        Between 0 and 1, for the jitter of waiting times.
    """

    def __init__(
        self,
        settings: FeedSettings,
        clock: Clock,
        *,
        manners: Manners | None = None,
        session: requests.Session | None = None,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._chance = chance
        self.manners = manners or (PUBLIC if settings.kind in PUBLIC_KINDS else OWN)
        self._session = session or open_session(
            allow_networks=settings.allow_networks,
            connect_timeout_s=self.manners.connect_s,
            read_timeout_s=self.manners.read_s,
            total_s=self.manners.total_s,
            ca_file=settings.ca_file,
        )
        self._validators: OrderedDict[str, tuple[tuple[str, str], ...]] = OrderedDict()
        self._asked_at: OrderedDict[str, float] = OrderedDict()
        self._not_before: dict[str, float] = {}
        self._failures: dict[str, int] = {}

    def close(self) -> None:
        """Give back connections."""
        self._session.close()

    def deadline(self) -> float:
        """When a fetch that begins now must be over, in seconds of the monotonic clock."""
        return self._clock.monotonic() + self.manners.total_s

    def out_of_time(self, deadline_at: float) -> bool:
        """Whether that moment has come."""
        return self._clock.monotonic() >= deadline_at

    def remember(self, reply: Reply) -> None:
        """Make the next request for this address conditional on this reply.

        Only for a reply that could be read: else a login page with an ETag would be
        "not modified" for ever.
        """
        if reply.status != 200:
            return
        self._validators.pop(reply.url, None)
        if reply.validators:
            self._validators[reply.url] = reply.validators
        if len(self._validators) > MAX_REMEMBERED:
            self._validators.popitem(last=False)

    def get(
        self, url: str, *, batch: str, now: datetime, deadline_at: float, fresh: bool = False
    ) -> Reply:
        """Ask one address.

        Parameters
        ----------
        url : str
            What to ask.
        batch : str
            What is asked for, whatever the address looks like: asked once a minute at most.
        now : datetime
            Wall time, to read a Retry-After that is a date.
        deadline_at : float
            Monotonic time at which the exchange must be over. [s]
        fresh : bool
            Without conditions, past every cache.

        Raises
        ------
        FeedBusy
            On 403, 429, 5xx and after answers that came too slowly, and when asked too early.
        FeedError
            On anything else that holds no reports.
        """
        shown = f"{self._settings.kind} {url.partition('?')[0]}"
        host = urlsplit(url).netloc
        self._mind_manners(shown, host, batch)
        conditions = () if fresh else self._validators.get(url, ())
        try:
            reply, answer = self._exchange(url, dict(conditions), deadline_at, fresh=fresh)
        except TooSlow as error:
            wait = self._stay_away(host, None)
            raise FeedBusy(shown, f"{error}; next try in {in_minutes(wait)}", wait) from error
        except (requests.RequestException, OutwardError) as error:
            if isinstance(error, requests.ReadTimeout):
                wait = self._stay_away(host, None)
                raise FeedBusy(shown, in_words(error), wait) from error
            raise FeedError(shown, in_words(error)) from error
        self._judge_status(shown, host, reply, answer, now, conditional=bool(conditions))
        return reply

    # --- one exchange ------------------------------------------------------

    def _headers(self) -> dict[str, str]:
        """Say who asks, and what is understood."""
        settings = self._settings
        headers = {
            "User-Agent": f"windwatch/{__version__} ({settings.contact})",
            "Accept-Encoding": "gzip",
            # Polls are minutes apart; nobody should hold a connection open for them.
            "Connection": "close",
        }
        if settings.api_key:
            bearer = settings.api_key_header.lower() == "authorization"
            headers[settings.api_key_header] = f"{'Bearer ' * bearer}{settings.api_key}"
        return headers

    def _exchange(
        self, url: str, conditions: dict[str, str], deadline_at: float, *, fresh: bool
    ) -> tuple[Reply, requests.Response]:
        """Ask, follow at most two redirects that stay at home, and read the answer."""
        headers = self._headers() | conditions
        if fresh:
            headers |= {"Cache-Control": "no-cache", "Pragma": "no-cache"}
        target = url
        for _ in range(MAX_REDIRECTS + 1):
            check_url(target, allow_http=self._settings.allow_http)
            with ending_within(deadline_at - self._clock.monotonic()):
                answer = self._session.get(
                    target, headers=headers, stream=True, allow_redirects=False
                )
                if answer.status_code not in REDIRECTS:
                    return self._read(url, answer, deadline_at), answer
            answer.close()
            target = _at_home(target, answer.headers.get("Location", ""))
        raise Refused(f"it redirected more than {MAX_REDIRECTS} times")

    def _read(self, url: str, answer: requests.Response, deadline_at: float) -> Reply:
        """Read the body; of an error only the beginning."""
        good = answer.status_code == 200
        if answer.status_code == 304:
            answer.close()
            body = b""
        elif good:
            body = read_capped(answer, deadline_at=deadline_at, monotonic=self._clock.monotonic)
        else:
            body = _beginning(answer, deadline_at, self._clock.monotonic)
        framed = {"content-length", "transfer-encoding"} & {k.lower() for k in answer.headers}
        zipped = "gzip" in answer.headers.get("Content-Encoding", "")
        pairs = (("If-None-Match", "ETag"), ("If-Modified-Since", "Last-Modified"))
        return Reply(
            url=url,
            status=answer.status_code,
            content_type=answer.headers.get("Content-Type", ""),
            body=body,
            whole=bool(framed) or zipped,
            server_date=_http_date(answer.headers.get("Date", "")),
            validators=tuple(
                (ask, answer.headers[name])
                for ask, name in pairs
                if _can_be_sent_back(answer.headers.get(name, ""))
            ),
        )

    # --- manners -----------------------------------------------------------

    def _mind_manners(self, shown: str, host: str, batch: str) -> None:
        """Refuse to ask too early; wait out a moment."""
        asked_at = self._asked_at.get(batch, float("-inf"))
        quiet_until = self._not_before.get(host, float("-inf"))
        early = asked_at + self.manners.spacing_s - self._clock.monotonic()
        if 0 < early <= EARLY_S:
            self._clock.wait(threading.Event(), early)
            early = 0
        away = quiet_until - self._clock.monotonic()
        if away > 0:
            wait = timedelta(seconds=away)
            raise FeedBusy(shown, f"staying away for another {in_minutes(wait)}", wait)
        if early > 0:
            wait = timedelta(seconds=early)
            raise FeedBusy(
                shown,
                f"asked less than {self.manners.spacing_s:.0f} s ago;"
                f" next try in {in_minutes(wait)}",
                wait,
            )
        self._asked_at.pop(batch, None)
        self._asked_at[batch] = self._clock.monotonic()
        if len(self._asked_at) > MAX_REMEMBERED:
            self._asked_at.popitem(last=False)

    def _stay_away(self, host: str, asked_for: timedelta | None) -> timedelta:
        """Note a failure, and return how long this host is left alone."""
        failures = self._failures.get(host, 0)
        self._failures[host] = failures + 1
        # Eight doublings already pass every cap.
        longest = min(self.manners.first_wait_s * 2.0 ** min(failures, 8), self.manners.most_wait_s)
        # Jitter only shortens, so that a poll every minute or two is not lost to it.
        wait = timedelta(seconds=longest * (0.8 + 0.2 * self._chance()))
        if asked_for is not None:
            wait = min(asked_for, MAX_RETRY_AFTER)
        self._not_before[host] = self._clock.monotonic() + wait.total_seconds()
        return wait

    def _judge_status(
        self,
        shown: str,
        host: str,
        reply: Reply,
        answer: requests.Response,
        now: datetime,
        *,
        conditional: bool,
    ) -> None:
        """Let 200, 204 and a 304 that was asked for pass."""
        status = reply.status
        if status in (200, 204) or (status == 304 and conditional):
            self._failures.pop(host, None)
            self._not_before.pop(host, None)
            return
        if status in (403, 429) or status >= 500:
            header = answer.headers.get("Retry-After", "")
            wait = self._stay_away(host, _retry_after(header, reply.server_date or now))
            problem = f"{reply.came()}; staying away for {in_minutes(wait)}"
            raise FeedBusy(shown, problem, wait)
        if status == 304:
            raise FeedError(shown, "HTTP 304 (not modified), though nothing was said of before")
        raise FeedError(shown, reply.came())


def _beginning(
    answer: requests.Response, deadline_at: float, monotonic: Callable[[], float]
) -> bytes:
    """Read how an error page begins, if it can be read at all."""
    try:
        return read_capped(answer, ERROR_PAGE, ERROR_PAGE, deadline_at, monotonic, cut=True)
    except OutwardError:
        return b""


def _can_be_sent_back(value: str) -> bool:
    """Whether a validator may go into a header of ours."""
    return 0 < len(value) <= 200 and value.isascii() and value.isprintable()


def _at_home(url: str, location: str) -> str:
    """Return where a redirect leads, if it stays on the same host by https.

    Raises
    ------
    Refused
        If it leads anywhere else.
    """
    try:
        target = urljoin(url, location)
        old, new = urlsplit(url), urlsplit(target)
        same = bool(location) and new.netloc == old.netloc and new.scheme == "https"
    except ValueError:
        same = False
    if not same:
        raise Refused(f"it redirects to {quoted(location, 120)}, which is not followed")
    return target


def _http_date(text: str) -> datetime | None:
    """Read a date of an HTTP header."""
    try:
        found = parsedate_to_datetime(text)
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone(UTC)
    except (TypeError, ValueError, IndexError, OverflowError):
        return None


def _retry_after(header: str, now: datetime) -> timedelta | None:
    """Read a Retry-After header: seconds, or a date."""
    text = header.strip()
    if text.isascii() and text.isdigit() and len(text) < 10:
        return timedelta(seconds=int(text))
    date = _http_date(text)
    return max(timedelta(0), date - now) if date else None
