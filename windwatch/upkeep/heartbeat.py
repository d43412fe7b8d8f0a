"""The heartbeat: one call to an address of the user's after each complete cycle, and only then.

Whoever listens there notices when it stays away: a failing watch does not call at all.
"""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import requests

from windwatch.outward import OutwardError, Refused, check_url, in_words, open_session, read_capped

LOG: Final = logging.getLogger(__name__)
WHOLE_S: Final = 15.0
CONNECT_S: Final = 5.0
ANSWER_LIMIT: Final = 4096


@dataclass(frozen=True, slots=True)
class HeartbeatTarget:
    """Where it is heard. Many such addresses carry a key, so it is not shown."""

    url: str = field(repr=False)
    allow_http: bool = False
    allow_networks: tuple[str, ...] = ()
    ca_file: Path | None = None


class Heartbeat:
    """Calls the address in a thread of its own: no delivery waits for it."""

    def __init__(self, target: HeartbeatTarget) -> None:
        self._target = target
        self._thread: threading.Thread | None = None
        self.beats = 0
        self.problem = ""

    def beat(self) -> None:
        """Call, unless the call before is still under way."""
        if self._thread is not None and self._thread.is_alive():
            return
        thread = threading.Thread(target=self._call, name="heartbeat", daemon=True)
        try:
            thread.start()
        except RuntimeError:
            LOG.warning("heartbeat_failed", extra={"problem": "no thread to be had"})
            return
        self._thread = thread

    def close(self, seconds: float = WHOLE_S) -> None:
        """Let a call under way end."""
        if self._thread is not None:
            self._thread.join(seconds)

    def _call(self) -> None:
        try:
            self._exchange()
        except Refused:
            # Its words quote the address.
            self._failed("the address may not be called: see allow_http and allow_networks")
        except (requests.RequestException, OutwardError) as error:
            self._failed(in_words(error))
        except Exception as error:  # noqa: BLE001 - its text may hold the address
            self._failed(type(error).__name__)
        else:
            self.problem = ""
            self.beats += 1

    def _exchange(self) -> None:
        target = self._target
        check_url(target.url, allow_http=target.allow_http)
        with open_session(
            allow_networks=target.allow_networks,
            connect_timeout_s=CONNECT_S,
            read_timeout_s=WHOLE_S,
            total_s=WHOLE_S,
            ca_file=target.ca_file,
            pool_size=1,
        ) as session:
            answer = session.get(target.url)
            read_capped(answer, ANSWER_LIMIT, ANSWER_LIMIT, cut=True)
        if not 200 <= answer.status_code < 300:
            raise OutwardError(f"it answered {answer.status_code}")

    def _failed(self, problem: str) -> None:
        if problem != self.problem:
            LOG.warning("heartbeat_failed", extra={"problem": problem})
        self.problem = problem
