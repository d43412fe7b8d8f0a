"""Certificates of an authority that only the tests trust."""

import atexit
import shutil
import ssl
import tempfile
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


def server_context(*names: str) -> ssl.SSLContext:
    """What a server needs to be one of these names."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority().issue_cert(*names).configure_cert(context)
    return context
