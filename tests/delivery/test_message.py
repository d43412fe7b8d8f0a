"""One notice as one e-mail: threading, plain and HTML, nothing smuggled into headers."""

import email
import email.policy
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from windwatch.delivery.channels import MailAddress
from windwatch.delivery.message import build_message, one_line
from windwatch.notices.outbox import new_delivery

SENDER = "windwatch <wind@larkspur.example>"
OWNER = MailAddress("wren.owner@faraway.example", "owner of X-WREN")
NOW = GUST_FRONT + timedelta(minutes=3)


def built(notice=None, content=None, recipient=OWNER, sender=SENDER, **changes):
    delivery = new_delivery(notice or a_notice(), content or a_content(), "email")
    return build_message(replace(delivery, **changes), sender, recipient, NOW)


def parsed(message):
    return email.message_from_bytes(bytes(message), policy=email.policy.default)


def test_the_message_id_is_the_notices_and_never_changes():
    first, later = built(), built(attempt=7)
    assert first["Message-ID"] == later["Message-ID"] == f"<{a_notice().id}@larkspur.example>"


def test_the_same_delivery_at_the_same_time_is_the_same_message_byte_for_byte():
    assert bytes(built()) == bytes(built())


def test_one_episode_is_one_conversation():
    earlier = tuple(a_notice(number=n).id for n in range(30))
    message = parsed(built(a_notice(number=99, references=earlier)))
    ids = message["References"].split()
    assert ids[0] == f"<{earlier[0]}@larkspur.example>"
    assert ids[-1] == message["In-Reply-To"] == f"<{earlier[-1]}@larkspur.example>"
    assert len(ids) == 12
    assert all(len(line) < 998 for line in bytes(built()).splitlines())


def test_a_first_notice_answers_nothing():
    message = built()
    assert message["References"] is None
    assert message["In-Reply-To"] is None


def test_text_comes_first_and_html_beside_it():
    message = parsed(built())
    assert message.get_content_type() == "multipart/alternative"
    kinds = [part.get_content_type() for part in message.iter_parts()]
    assert kinds == ["text/plain", "text/html"]
    assert "Secure X-WREN now." in message.get_body(("plain",)).get_content()


def test_minimal_plain_text_has_no_second_part():
    message = parsed(built(plain=True))
    assert message.get_content_type() == "text/plain"
    assert "Secure X-WREN now." in message.get_content()


@pytest.mark.guard("mail")
def test_it_says_that_a_machine_wrote_it_and_when():
    message = parsed(built())
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["Date"].datetime == NOW
    assert message["To"] == "owner of X-WREN <wren.owner@faraway.example>"


@pytest.mark.guard("mail")
@pytest.mark.parametrize(
    "nasty",
    [
        "28 over\r\nBcc: everybody@field.example",
        "28 over\nContent-Type: text/html\n\n<script>",
        "28 over\r\n\r\nbody",
        "28\x00over\x0b\x0c\x85\u2028Bcc: x@field.example",
        "28 \u202eover",
    ],
)
def test_nothing_is_smuggled_into_a_header(nasty):
    message = parsed(
        built(
            content=replace(a_content(), subject=nasty),
            recipient=MailAddress("wren.owner@faraway.example", nasty),
            sender=f"{one_line(nasty)} <wind@larkspur.example>",
        )
    )
    assert message["Bcc"] is None
    assert message.get_content_type() == "multipart/alternative"
    assert message["Subject"].startswith("28")
    assert not set(message["Subject"]) & set("\r\n\0\u202e\u2028")
    assert [a.addr_spec for a in message["To"].addresses] == ["wren.owner@faraway.example"]


@pytest.mark.guard("mail")
@given(st.text(max_size=400))
def test_whatever_a_subject_and_body_hold_the_headers_stay_ours(text):
    content = replace(a_content(), subject=text, text=text, html=f"<p>{text}")
    message = parsed(built(content=content))
    assert sorted({name.lower() for name in message.keys()}) == [  # noqa: SIM118 - a message
        "auto-submitted",
        "content-type",
        "date",
        "from",
        "importance",
        "message-id",
        "mime-version",
        "subject",
        "to",
        "x-auto-response-suppress",
    ]


def test_degrees_and_dashes_survive():
    content = replace(a_content(), subject="XLKS 300° – 28 G41 kt", text="300° × 28 → secure\n")
    message = parsed(built(content=content))
    assert message["Subject"] == "XLKS 300° – 28 G41 kt"
    assert "300° × 28 → secure" in message.get_body(("plain",)).get_content()
