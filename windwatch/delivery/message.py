"""One notice as one e-mail."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, formataddr, parseaddr
from typing import Final

from windwatch.delivery.channels import MailAddress
from windwatch.delivery.pictures import PAINTER, Painted
from windwatch.notices.html import CONTROLS_HERE, FIELD_HERE, Shown, with_pictures
from windwatch.notices.outbox import Delivery

# RFC 5322 limits a line to 998 characters; a conversation may be longer than fits.
REFERENCES_LIMIT: Final = 12
# From when it was due: the words are to be out in two seconds, and five at most.
WAITED_LONG: Final = timedelta(seconds=1)
SUBJECT_LIMIT: Final = 200

_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]+")


def one_line(text: str, limit: int = SUBJECT_LIMIT) -> str:
    r"""Text for a header: what could end a line, or turn it round, becomes a blank.

    Examples
    --------
    >>> one_line("28 over\r\nBcc: everybody@field.example")
    '28 over Bcc: everybody@field.example'
    """
    return _CONTROL.sub(" ", text).strip()[:limit]


def painted_for(
    delivery: Delivery, recipient: MailAddress, now: datetime, patience_s: float | None = None
) -> tuple[Painted, ...]:
    """The pictures of a mail; none where its recipient wants none, or they cannot be had.

    In a crowd the words come before the pictures: who has waited goes without (promise 11).

    Parameters
    ----------
    now : datetime
        When it is sent.
    patience_s : float or None
        How long they may take where nobody waits for the mail. [s]
    """
    if delivery.plain or not delivery.content.html or not recipient.pictures:
        return ()
    if patience_s is None and now - (delivery.due_at or delivery.created_at) > WAITED_LONG:
        return ()
    return PAINTER.paint(delivery.content.pictures, patience_s)


def build_message(
    delivery: Delivery,
    sender: str,
    recipient: MailAddress,
    now: datetime,
    pictures: Sequence[Painted] = (),
) -> EmailMessage:
    """Make the message of a delivery; the same delivery has the same Message-ID for ever.

    Parameters
    ----------
    sender : str
        ``Name <address>`` or the address alone.
    now : datetime
        When it is sent.
    pictures : sequence of Painted
        Sent inside of the message, beside the HTML that shows them.
    """
    notice, content = delivery.notice, delivery.content
    domain = sender_domain(sender)
    name, address = parseaddr(sender)
    message = EmailMessage(policy=SMTP)
    message["From"] = formataddr((one_line(name), one_line(address)))
    message["To"] = formataddr((one_line(recipient.name), one_line(recipient.address)))
    message["Subject"] = one_line(content.subject)
    message["Date"] = format_datetime(now)
    message["Message-ID"] = message_id(notice.id, domain)
    if notice.references:
        ids = [message_id(id_, domain) for id_ in _kept(notice.references)]
        message["In-Reply-To"] = ids[-1]
        message["References"] = " ".join(ids)
    # RFC 3834: no out-of-office answer, no loop.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    if notice.urgent:
        message["Importance"] = "high"
    message.set_content(_body(content.text), cte="quoted-printable")
    if content.html and not delivery.plain:
        shown = [_shown(each, domain) for each in pictures]
        html = _body(with_pictures(content.html, shown))
        message.add_alternative(html, subtype="html", cte="quoted-printable")
        # Computed, not drawn by lot: a repeat says the same under the same id, in the same parts,
        # though pictures may fail it.
        message.set_boundary(f"=_{one_line(delivery.id)}")
        if pictures:
            _add_pictures(message, pictures, domain, f"=.{one_line(delivery.id)}")
    return message


def _add_pictures(
    message: EmailMessage, pictures: Sequence[Painted], domain: str, boundary: str
) -> None:
    """Put the pictures beside the HTML (RFC 2387), each under the name by which it is shown."""
    *_, html = message.iter_parts()
    if not isinstance(html, EmailMessage):
        return
    for number, each in enumerate(pictures, 1):
        html.add_related(
            each.png,
            "image",
            "png",
            cid=f"<{_content_id(each, domain)}>",
            disposition="inline",
            filename=f"{'field' if each.of_field else 'controls'}-{number}.png",
        )
    html.set_param("type", "text/html")
    html.set_boundary(boundary)


def _content_id(picture: Painted, domain: str) -> str:
    return f"{picture.id}@{domain}"


def _shown(picture: Painted, domain: str) -> Shown:
    return Shown(
        src=f"cid:{_content_id(picture, domain)}",
        alt=picture.alt,
        caption=picture.caption,
        place=FIELD_HERE if picture.of_field else CONTROLS_HERE,
        width=picture.width,
        height=picture.height,
    )


def message_id(notice: str, domain: str) -> str:
    """Message-ID of a notice."""
    return f"<{notice}@{domain}>"


def sender_domain(sender: str) -> str:
    """Domain of the sender's address."""
    return one_line(parseaddr(sender)[1].rpartition("@")[2]) or "windwatch.invalid"


def _kept(references: tuple[str, ...]) -> tuple[str, ...]:
    """The first one, which names the conversation, and the latest."""
    if len(references) <= REFERENCES_LIMIT:
        return references
    return (references[0], *references[-(REFERENCES_LIMIT - 1) :])


def _body(text: str) -> str:
    # NUL and other controls have no place in a body; surrogates cannot be encoded.
    cleaned = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", "\N{REPLACEMENT CHARACTER}", text)
    return cleaned.encode("utf-8", "replace").decode("utf-8")
