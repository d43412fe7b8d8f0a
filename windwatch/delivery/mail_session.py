"""A conversation with a mail server that neither waits nor listens for ever."""

from __future__ import annotations

import smtplib
import ssl
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from windwatch.clock import SystemClock
from windwatch.delivery.channels import MailServer
from windwatch.delivery.message import one_line, sender_domain
from windwatch.delivery.retry import Rule, SendFailed

# RFC 5321, section 4.5.3.1.5: a reply line has at most 512 octets; some servers say more.
LINE_LIMIT: Final = 4096
LINES_LIMIT: Final = 100
# How long the authorities that were read are used. [s]
_TRUSTED_S: Final = 3600.0

_monotonic = SystemClock().monotonic


class _Patient:
    """What both kinds of session add: every reply has an end, in lines and in time.

    The library's own timeout is for each read, so that a server that sends one byte now and
    then could keep a session for ever.
    """

    sock: Any
    file: Any
    reply_s: float = 30.0
    after_dot_s: float = 600.0
    # Until when, on the monotonic clock, everything before the last reply must be over. [s]
    ends_at: float = float("inf")
    _buffer: bytes = b""
    _replies_in_data: int | None = None

    def getreply(self) -> tuple[int, bytes]:
        """Read one reply of one or several lines."""
        if self._replies_in_data is not None:
            self._replies_in_data += 1
        # The first reply within DATA invites the text, the second comes after the final dot.
        if self._replies_in_data == 2:
            ends_at = _monotonic() + self.after_dot_s
        else:
            ends_at = min(_monotonic() + self.reply_s, self.ends_at)
        texts = []
        for _ in range(LINES_LIMIT):
            line = self._line(ends_at)
            texts.append(line[4:].strip(b" \t\r\n"))
            code = line[:3]
            if not code.isdigit():
                self._hang_up()
                raise smtplib.SMTPServerDisconnected("the reply has no code")
            if line[3:4] != b"-":
                return int(code), b"\n".join(texts)
        self._hang_up()
        raise smtplib.SMTPServerDisconnected("the reply has no end")

    def data(self, msg: Any) -> tuple[int, bytes]:
        """Send the text, and wait long for the last reply."""
        self._replies_in_data = 0
        try:
            return super().data(msg)  # type: ignore[misc, no-any-return]
        finally:
            self._replies_in_data = None

    def starttls(self, *args: Any, **kwargs: Any) -> tuple[int, bytes]:
        """Turn to TLS; what was said before it counts for nothing afterwards."""
        answer = super().starttls(*args, **kwargs)  # type: ignore[misc]
        if self._buffer:
            self._hang_up()
            raise smtplib.SMTPServerDisconnected("the server spoke out of turn before TLS")
        return answer  # type: ignore[no-any-return]

    def _line(self, ends_at: float) -> bytes:
        while b"\n" not in self._buffer:
            left = ends_at - _monotonic()
            if left <= 0 or len(self._buffer) > LINE_LIMIT:
                self._hang_up()
                raise smtplib.SMTPServerDisconnected("the reply came too slowly, or was too long")
            try:
                self.sock.settimeout(left)
                piece = self.sock.recv(LINE_LIMIT)
            except OSError as error:
                self._hang_up()
                raise smtplib.SMTPServerDisconnected(f"no reply: {error}") from error
            if not piece:
                self._hang_up()
                raise smtplib.SMTPServerDisconnected("the server hung up")
            self._buffer += piece
        line, _, self._buffer = self._buffer.partition(b"\n")
        return line

    def _hang_up(self) -> None:
        self._buffer = b""
        self.close()  # type: ignore[attr-defined]


class _PlainSession(_Patient, smtplib.SMTP):
    """Begins in clear, for STARTTLS."""


class _TlsSession(_Patient, smtplib.SMTP_SSL):
    """Begins with TLS."""


Session = _PlainSession | _TlsSession


def open_session(server: MailServer) -> Session:
    """Connect, encrypt, verify and log in.

    Raises
    ------
    SendFailed
        If the server refuses, or offers no encryption: nothing is ever sent in clear instead.
    OSError, smtplib.SMTPException
        If it cannot be reached or breaks the conversation off.
    """
    ends_at = _monotonic() + server.whole_s
    context = _context(server)
    # Named after the sender's domain: asking the system for this machine's name may take long.
    ours = sender_domain(server.sender)
    session: Session
    if server.security == "tls":
        session = _TlsSession(local_hostname=ours, timeout=server.connect_s, context=context)
    else:
        session = _PlainSession(local_hostname=ours, timeout=server.connect_s)
    session.ends_at = ends_at
    session.reply_s = server.command_s
    session.after_dot_s = server.after_dot_s
    try:
        # `starttls` verifies the certificate for this name.
        session._host = server.host  # type: ignore[union-attr]  # noqa: SLF001
        _expect_220(*session.connect(server.host, server.port))
        session.ehlo_or_helo_if_needed()
        if server.security == "starttls":
            _turn_to_tls(session, context)
        if server.username is not None:
            _log_in(session, server)
    except BaseException:
        session.close()
        raise
    return session


def _expect_220(code: int, words: bytes) -> None:
    if code != 220:
        raise smtplib.SMTPResponseException(code, words)


def _turn_to_tls(session: Session, context: ssl.SSLContext) -> None:
    if not session.has_extn("starttls"):
        raise SendFailed(
            "the mail server offers no STARTTLS, and nothing is sent in clear", Rule.CHANNEL_DOWN
        )
    _expect_220(*session.starttls(context=context))
    session.ehlo_or_helo_if_needed()


def _log_in(session: Session, server: MailServer) -> None:
    if not isinstance(session.sock, ssl.SSLSocket):
        raise SendFailed(
            "a login is never sent in clear; set security to starttls or tls", Rule.CHANNEL_DOWN
        )
    try:
        session.login(server.username or "", server.password or "")
    except smtplib.SMTPAuthenticationError as error:
        if error.smtp_code < 500:
            raise
        answer = one_line(f"login refused: {error.smtp_code} {in_text(error.smtp_error)}")
        raise SendFailed(answer, Rule.CHANNEL_DOWN, status=error.smtp_code) from error
    except (smtplib.SMTPResponseException, smtplib.SMTPServerDisconnected):
        raise
    except smtplib.SMTPException as error:
        raise SendFailed(one_line(f"no login is possible: {error}"), Rule.CHANNEL_DOWN) from error


def _context(server: MailServer) -> ssl.SSLContext:
    """How to encrypt and whom to trust; read anew when the file changes, and every hour."""
    try:
        stamp = 0 if server.ca_file is None else server.ca_file.stat().st_mtime_ns
        return _trusting(server.ca_file, stamp, int(_monotonic() // _TRUSTED_S))
    except OSError as error:
        raise SendFailed(
            f"ca_file {server.ca_file}: no certificates could be read: {error}",
            Rule.CHANNEL_DOWN,
        ) from error


@lru_cache(maxsize=4)
def _trusting(ca_file: Path | None, stamp: int, hour: int) -> ssl.SSLContext:
    """Kept, because to read all authorities takes longer than a whole conversation."""
    del stamp, hour
    context = ssl.create_default_context()
    if ca_file is not None:
        context.load_verify_locations(cafile=str(ca_file))
    return context


def in_text(words: bytes | str) -> str:
    """What a server said, whatever bytes it used."""
    return words.decode("utf-8", "replace") if isinstance(words, bytes) else words


def is_tls_failure(error: BaseException) -> bool:
    """Whether a connection failed for its certificate or encryption."""
    return isinstance(error, ssl.SSLError) and not isinstance(
        error, ssl.SSLEOFError | ssl.SSLZeroReturnError
    )
