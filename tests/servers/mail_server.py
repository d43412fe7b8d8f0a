"""A real mail server (aiosmtpd) with STARTTLS or TLS and login, that can be told to misbehave."""

import asyncio
import contextlib
import email.policy
import threading
from collections import defaultdict, deque
from email.message import EmailMessage
from pathlib import Path
from typing import Self

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword

from tests.servers.certificates import ca_file, server_context

DROP = "drop"  # close the connection without a word
HOLD = "hold"  # say nothing until `release`


class MailServer:
    """Takes mail on 127.0.0.1 while its context is open.

    ``messages`` holds what was taken, parsed; ``envelopes`` sender and recipients beside it;
    ``logins`` the user name of every login tried, ``sessions`` how many conversations began.

    ``script(stage, *answers)`` has the next passages of a stage answered so, one each, ``None``
    meaning as usual. Stages: ``greeting``, ``mail``, ``rcpt`` (or ``rcpt name@field.example``),
    ``data`` (the text is not taken) and ``taken`` (it is taken, then the answer is changed).
    Answers: a reply line, `DROP`, `HOLD`.
    """

    def __init__(
        self,
        *,
        security: str = "starttls",
        username: str = "windwatch",
        password: str = "correct horse",
        names: tuple[str, ...] = ("localhost", "127.0.0.1"),
        expired: bool = False,
    ) -> None:
        self.security = security
        self.username = username
        self.password = password
        self.host = "localhost"
        self.port = 0
        self.messages: list[EmailMessage] = []
        self.envelopes: list[tuple[str, list[str]]] = []
        self.logins: list[str] = []
        self.sessions = 0
        self._names = names
        self._expired = expired
        self._script: dict[str, deque[str | None]] = defaultdict(deque)
        self._released = threading.Event()
        self._controller: Controller | None = None

    @property
    def ca_file(self) -> Path:
        return ca_file()

    def script(self, stage: str, *answers: str | None) -> None:
        self._script[stage].extend(answers)

    def release(self) -> None:
        """End every `HOLD`, also those to come."""
        self._released.set()

    def __enter__(self) -> Self:
        context = None
        if self.security != "none":
            context = server_context(*self._names, expired=self._expired)
        self._controller = _Controller(
            _Handler(self),
            hostname="127.0.0.1",
            port=0,
            ssl_context=context if self.security == "tls" else None,
            # SMTP's own parameters
            tls_context=context if self.security == "starttls" else None,
            require_starttls=self.security == "starttls",
            # Over TLS from the first byte aiosmtpd does not notice that it is encrypted.
            auth_required=self.security == "starttls",
            auth_require_tls=self.security == "starttls",
            authenticator=self._log_in,
            server_hostname="mail.larkspur.example",
        )
        self._controller.start()
        self.port = self._controller.port
        self.sessions = 0
        return self

    def __exit__(self, *_: object) -> None:
        self.release()
        self._controller.stop()

    def _log_in(self, server, session, envelope, mechanism, auth) -> AuthResult:
        assert isinstance(auth, LoginPassword)
        self.logins.append(auth.login.decode())
        right = (auth.login.decode(), auth.password.decode()) == (self.username, self.password)
        # handled=False: the server says 535 itself; otherwise the client would wait for ever.
        return AuthResult(success=right, handled=False)

    def next_answer(self, stage: str) -> str | None:
        waiting = self._script[stage]
        return waiting.popleft() if waiting else None

    async def say(self, server: SMTP, stage: str, usual: str) -> str:
        """Answer a stage as scripted, or as usual."""
        answer = self.next_answer(stage)
        if answer == DROP:
            server.transport.abort()
        if answer == HOLD:
            await asyncio.to_thread(self._released.wait)
        return usual if answer in (None, DROP, HOLD) else answer


class _Handler:
    def __init__(self, mail: MailServer) -> None:
        self.mail = mail

    async def handle_MAIL(self, server, session, envelope, address, options):  # noqa: N802
        answer = await self.mail.say(server, "mail", "250 OK")
        if answer.startswith("250"):
            envelope.mail_from = address
        return answer

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        answer = await self.mail.say(server, "rcpt", "250 OK")
        if answer.startswith("250"):
            answer = await self.mail.say(server, f"rcpt {address}", "250 OK")
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        answer = await self.mail.say(server, "data", "250 taken")
        if answer.startswith("250") and server.transport and not server.transport.is_closing():
            message = email.message_from_bytes(envelope.content, policy=email.policy.default)
            self.mail.messages.append(message)
            self.mail.envelopes.append((envelope.mail_from, list(envelope.rcpt_tos)))
            answer = await self.mail.say(server, "taken", "250 taken")
        return answer


class _Server(SMTP):
    async def push(self, status):
        if isinstance(status, str) and status.startswith("220 mail."):
            self.event_handler.mail.sessions += 1
            status = await self.event_handler.mail.say(self, "greeting", status)
        with contextlib.suppress(ConnectionError):
            await super().push(status)


class _Controller(Controller):
    def factory(self):
        return _Server(self.handler, **self.SMTP_kwargs)

    def _trigger_server(self):
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()
