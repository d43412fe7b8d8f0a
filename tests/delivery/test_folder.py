"""The folder channel: the very messages, as files, for their owner's eyes."""

import email
import email.policy
import json
import os
import stat

import pytest

from tests.servers.samples import GUST_FRONT, a_content, a_notice
from tests.servers.webhook_server import SECRET
from windwatch.delivery.channels import Folder, MailAddress, WebhookTarget
from windwatch.delivery.folder import mail_folder, webhook_folder
from windwatch.delivery.message import build_message
from windwatch.delivery.retry import SendFailed
from windwatch.delivery.signing import sign
from windwatch.errors import DeliveryFailed
from windwatch.notices.outbox import new_delivery

SENDER = "windwatch <wind@larkspur.example>"
DESK = MailAddress("ops@larkspur.example", "operations desk")
DELIVERY = new_delivery(a_notice("operations desk"), a_content(), "email")


def mail_to(folder):
    return mail_folder(Folder(folder), SENDER, DESK)


def test_mail_lies_there_as_it_would_have_been_sent(tmp_path):
    answer = mail_to(tmp_path).send(DELIVERY, GUST_FRONT)
    (file,) = tmp_path.iterdir()
    assert file.name == answer.answer
    assert file.read_bytes() == bytes(build_message(DELIVERY, SENDER, DESK, GUST_FRONT))
    message = email.message_from_bytes(file.read_bytes(), policy=email.policy.default)
    assert message["Subject"] == a_content().subject


def test_names_sort_by_time_and_tell_whom_it_is_for(tmp_path):
    mail_to(tmp_path).send(DELIVERY, GUST_FRONT)
    (file,) = tmp_path.iterdir()
    assert file.name == f"20260922T190900Z-operations-desk-{DELIVERY.notice.id[:8]}.eml"


def test_a_webhooks_body_and_headers_lie_there_signed(tmp_path):
    target = WebhookTarget("https://desk.larkspur.example/wind", (SECRET,))
    webhook_folder(Folder(tmp_path), target).send(DELIVERY, GUST_FRONT)
    (file,) = tmp_path.iterdir()
    document = json.loads(file.read_text())
    assert document["body"] == a_content().payload
    stamp = str(int(GUST_FRONT.timestamp()))
    body = json.dumps(document["body"], ensure_ascii=False, separators=(",", ":")).encode()
    assert document["headers"]["webhook-signature"] == sign(SECRET, DELIVERY.notice.id, stamp, body)


def test_a_repeat_replaces_the_same_file(tmp_path):
    for _ in range(3):
        mail_to(tmp_path).send(DELIVERY, GUST_FRONT)
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.guard("files")
def test_a_contacts_name_cannot_lead_out_of_the_folder(tmp_path):
    folder = tmp_path / "notices"
    nasty = new_delivery(a_notice("../../etc/passwd\0\n"), a_content(), "email")
    mail_to(folder).send(nasty, GUST_FRONT)
    assert [file.parent for file in tmp_path.rglob("*.eml")] == [folder]


@pytest.mark.guard("files")
@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_files_and_a_folder_that_was_made_are_for_their_owner_only(tmp_path):
    folder = tmp_path / "notices"
    mail_to(folder).send(DELIVERY, GUST_FRONT)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert [stat.S_IMODE(file.stat().st_mode) for file in folder.iterdir()] == [0o600]


@pytest.mark.guard("files")
def test_a_symbolic_link_of_that_name_is_replaced_not_followed(tmp_path):
    folder = tmp_path / "notices"
    folder.mkdir()
    victim = tmp_path / "victim"
    victim.write_text("precious")
    name = f"20260922T190900Z-operations-desk-{DELIVERY.notice.id[:8]}.eml"
    (folder / name).symlink_to(victim)
    mail_to(folder).send(DELIVERY, GUST_FRONT)
    assert victim.read_text() == "precious"
    assert not (folder / name).is_symlink()


def test_a_folder_that_cannot_be_written_is_a_failed_try(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    with pytest.raises(DeliveryFailed, match="was not written"):
        mail_to(blocked).send(DELIVERY, GUST_FRONT)


@pytest.mark.guard("files")
def test_a_write_that_fails_leaves_no_half_file(tmp_path, monkeypatch):
    def fail(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(SendFailed, match="No space left"):
        mail_to(tmp_path).send(DELIVERY, GUST_FRONT)
    assert list(tmp_path.iterdir()) == []
