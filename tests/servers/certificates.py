"""Certificates of an authority that only the tests trust."""

import atexit
import shutil
import ssl
import tempfile
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import trustme


@cache
def authority() -> trustme.CA:
    return trustme.CA()


@cache
def ca_file() -> Path:
    """The authority's certificate, for `ca_file` settings."""
    folder = Path(tempfile.mkdtemp(prefix="windwatch-ca-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    file = folder / "ca.pem"
    authority().cert_pem.write_to_path(str(file))
    return file


def server_context(
    *names: str, expired: bool = False, not_before: datetime | None = None
) -> ssl.SSLContext:
    """What a server needs to be one of these names, until yesterday where it is expired."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    now = datetime.now(UTC)
    until = now - timedelta(days=1) if expired else None
    since = now - timedelta(days=30) if expired else not_before
    authority().issue_cert(*names, not_before=since, not_after=until).configure_cert(context)
    return context
