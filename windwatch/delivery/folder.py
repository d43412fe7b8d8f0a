"""Folder: the very messages that would have been sent, as files."""

from __future__ import annotations

import contextlib
import json
import os
import re
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from windwatch.delivery.channels import (
    Accepted,
    Folder,
    MailAddress,
    WebhookTarget,
    fingerprint,
)
from windwatch.delivery.message import build_message, painted_for
from windwatch.delivery.retry import Rule, SendFailed
from windwatch.delivery.signing import body_of, headers_of
from windwatch.notices.outbox import Delivery

NAME_LIMIT: Final = 40


class FolderChannel:
    """Drops one file a delivery; a repeat replaces the same file."""

    def __init__(
        self,
        folder: Folder,
        suffix: str,
        write: Callable[[Delivery, datetime], bytes],
    ) -> None:
        self._folder = folder
        self._suffix = suffix
        self._write = write

    @property
    def path(self) -> Path:
        """Where the files are dropped."""
        return self._folder.path

    @property
    def host(self) -> str:
        """The folder."""
        return f"folder {self._folder.path}"

    @property
    def fingerprint(self) -> str:
        """Of the folder."""
        return fingerprint("folder", str(self._folder.path))

    def send(self, delivery: Delivery, now: datetime) -> Accepted:
        """Write the file.

        Raises
        ------
        DeliveryFailed
            If it could not be written.
        """
        name = file_name(delivery, self._suffix)
        try:
            self._folder.path.mkdir(mode=0o700, parents=True, exist_ok=True)
            replace_file(self._folder.path / name, self._write(delivery, now))
        except OSError as error:
            answer = f"{self._folder.path}: {name} was not written: {error.strerror}"
            raise SendFailed(answer, Rule.AGAIN) from error
        return Accepted(name)


def mail_folder(
    folder: Folder, sender: str, recipient: MailAddress, patience_s: float | None = None
) -> FolderChannel:
    """Drop ``.eml`` files, built as the mail channel builds them.

    Parameters
    ----------
    patience_s : float or None
        How long pictures may take where nobody waits for the mail. [s]
    """

    def write(delivery: Delivery, now: datetime) -> bytes:
        pictures = painted_for(delivery, recipient, now, patience_s)
        return bytes(build_message(delivery, sender, recipient, now, pictures))

    return FolderChannel(folder, ".eml", write)


def webhook_folder(folder: Folder, target: WebhookTarget) -> FolderChannel:
    """Drop ``.json`` files: body and headers, signed where the target has a secret."""

    def write(delivery: Delivery, now: datetime) -> bytes:
        body = body_of(delivery)
        document = {
            "headers": headers_of(delivery, body, target, now),
            "body": json.loads(body),
        }
        return (json.dumps(document, ensure_ascii=False, indent=2) + "\n").encode()

    return FolderChannel(folder, ".json", write)


def file_name(delivery: Delivery, suffix: str) -> str:
    """Name that sorts by time and tells whom it is for.

    Examples
    --------
    ``20260922T190900Z-operations-desk-5d4098fd.eml``
    """
    at = delivery.notice.at.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    contact = re.sub(r"[^a-z0-9]+", "-", delivery.contact.lower()).strip("-")[:NAME_LIMIT]
    number = re.sub(r"[^A-Za-z0-9]+", "", delivery.notice.id)[:8]
    return f"{at}-{contact or 'contact'}-{number}{suffix}"


def replace_file(path: Path, content: bytes) -> None:
    """Write a file for its owner's eyes, whole or not at all.

    A symbolic link of that name is replaced, never followed.
    """
    descriptor, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # The name on disk before the answer: accepted means it survives a power cut.
        os.replace(name, path)  # noqa: PTH105 - a str from mkstemp
        _sync_folder(path.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)  # noqa: PTH108 - a str from mkstemp
        raise


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
