"""E-mail: one message, one recipient, one session."""

from __future__ import annotations

import contextlib
import smtplib
from datetime import datetime
from email.utils import parseaddr
from typing import Final

from windwatch.delivery.channels import (
    ANSWER_LIMIT,
    Accepted,
    MailAddress,
    MailServer,
    fingerprint,
)
from windwatch.delivery.mail_session import Session, in_text, is_tls_failure, open_session
from windwatch.delivery.message import build_message, one_line, painted_for
from windwatch.delivery.retry import Rule, SendFailed, smtp_rule
from windwatch.errors import DeliveryFailed
from windwatch.notices.outbox import Delivery

QUIT_PATIENCE_S: Final = 2.0


class EmailChannel:
    """Mail to one contact."""

    def __init__(self, server: MailServer, recipient: MailAddress) -> None:
        self._server = server
        self._recipient = recipient

    @property
    def host(self) -> str:
        """The mail server."""
        return f"{self._server.host}:{self._server.port}"

    @property
    def fingerprint(self) -> str:
        """Of the address."""
        return fingerprint("email", self._recipient.address)

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Hand the message to the server.

        Raises
        ------
        DeliveryFailed
            If the server did not say that it took it.
        """
        pictures = painted_for(delivery, self._recipient, now)
        message = build_message(delivery, self._server.sender, self._recipient, now, pictures)
        try:
            session = open_session(self._server)
            try:
                # One recipient: were there two, one refusal would come as an answer, not raised.
                refused = session.send_message(
                    message,
                    from_addr=parseaddr(self._server.sender)[1],
                    to_addrs=[self._recipient.address],
                )
            finally:
                _leave(session)
        except DeliveryFailed:
            raise
        except (smtplib.SMTPException, OSError, ValueError) as error:
            raise self._without_password(_failed(error)) from error
        if refused:
            code, words = next(iter(refused.values()))
            raise self._without_password(_answered(code, words))
        return Accepted("250 taken by the mail server")

    def _without_password(self, failure: SendFailed) -> SendFailed:
        """The same failure where a server quotes what it was told: its answer is kept and shown."""
        password = self._server.password
        if not password or password not in failure.answer:
            return failure
        said = failure.answer.replace(password, "…")
        return SendFailed(said, failure.rule, status=failure.status)


def _leave(session: Session) -> None:
    """Say goodbye, briefly: what was taken is taken."""
    session.reply_s, session.ends_at = QUIT_PATIENCE_S, float("inf")
    with contextlib.suppress(smtplib.SMTPException, OSError):
        session.quit()
    session.close()


def _failed(error: Exception) -> SendFailed:
    match error:
        # First: a certificate's failure is a ValueError too.
        case _ if is_tls_failure(error):
            return SendFailed(_cut(f"no secure connection: {error}"), Rule.INSECURE)
        case smtplib.SMTPRecipientsRefused():
            return _answered(*next(iter(error.recipients.values())))
        case smtplib.SMTPSenderRefused() if error.smtp_code >= 500:
            # Our own address is refused: no recipient's fault, and true of every message.
            return _answered(error.smtp_code, error.smtp_error, Rule.CHANNEL_DOWN)
        case smtplib.SMTPResponseException():
            return _answered(error.smtp_code, error.smtp_error)
        case smtplib.SMTPNotSupportedError():
            return SendFailed(_cut(f"the mail server cannot do it: {error}"), Rule.REFUSED)
        case ValueError():
            return SendFailed(_cut(f"no message could be made: {error}"), Rule.REFUSED)
        case _:
            words = str(error) or type(error).__name__
            return SendFailed(_cut(f"no conversation: {words}"), Rule.AGAIN)


def _answered(code: int, words: bytes | str, rule: Rule | None = None) -> SendFailed:
    return SendFailed(_cut(f"{code} {in_text(words)}"), rule or smtp_rule(code), status=code)


def _cut(text: str) -> str:
    return one_line(text, ANSWER_LIMIT)
