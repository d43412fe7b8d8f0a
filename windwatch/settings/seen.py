"""What stands in the files of a configuration, so that two looks at them can be compared."""

from __future__ import annotations

import stat
from collections.abc import Sequence
from pathlib import Path

from windwatch.settings.files import (
    MOST_BYTES,
    NO_FILE,
    fingerprint,
    no_fingerprint,
    toml_files,
)

# File and fingerprint of each.
Seen = tuple[tuple[str, str], ...]


def seen(paths: Sequence[Path], secret_files: Sequence[Path]) -> Seen:
    """Return the fingerprint of every file that a configuration is read from.

    By content, not by time: a file may be written twice in one tick of its clock, or be put back
    with its old time.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders, as they were named.
    secret_files : sequence of Path
        Files that secrets are read from.
    """
    try:
        files, _ = toml_files(paths)
    except OSError as error:
        # A folder that may not be looked into: what is wrong with it is said when it is read.
        return (("", f"{error.errno}"),)
    return tuple((str(path), _fingerprint(path)) for path in (*files, *secret_files))


def _fingerprint(path: Path) -> str:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return NO_FILE  # to read a pipe would wait for whoever writes into it
        with path.open("rb") as stream:
            return fingerprint(stream.read(MOST_BYTES + 1))
    except OSError as error:
        return no_fingerprint(error)
