"""SQLite's own way to its files, with a fault at the n-th call: below every statement.

The program under test goes on with the SQLite library that Python has; only the table of
functions by which that library opens, reads, writes and syncs files is changed, for files in one
folder.
"""

import ctypes
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar, Self

from tests.conftest import missing

POINTER = ctypes.c_void_p
IOERR, FULL, CANTOPEN = 10, 13, 14
# Result codes of SQLite, by what failed: sqlite.org/rescode.html, read 2026-11-25.
FAULTS = {
    "open": CANTOPEN,
    "delete": IOERR | 10 << 8,
    "read": IOERR | 1 << 8,
    "write": IOERR | 3 << 8,
    "sync": IOERR | 4 << 8,
    "truncate": IOERR | 6 << 8,
    "size": IOERR | 7 << 8,
}


class Vfs(ctypes.Structure):
    """`sqlite3_vfs`, as sqlite3.h has it from version 3.7.14 on."""

    _fields_: ClassVar = [
        ("version", ctypes.c_int),
        ("file_size", ctypes.c_int),
        ("longest_path", ctypes.c_int),
        ("next", POINTER),
        ("name", ctypes.c_char_p),
        ("own", POINTER),
        ("open", POINTER),
        ("delete", POINTER),
        ("others", POINTER * 14),
    ]


class Methods(ctypes.Structure):
    """`sqlite3_io_methods`."""

    _fields_: ClassVar = [
        ("version", ctypes.c_int),
        *[(name, POINTER) for name in ("close", "read", "write", "truncate", "sync", "size")],
        ("others", POINTER * 12),
    ]


class File(ctypes.Structure):
    """What every open file of SQLite begins with."""

    _fields_: ClassVar = [("methods", POINTER)]


INT, LONG = ctypes.c_int, ctypes.c_int64
# The path as it is, not a copy: SQLite keeps it as long as the file is open.
OPEN = ctypes.CFUNCTYPE(INT, POINTER, POINTER, POINTER, INT, POINTER)
SHAPES = {
    "delete": ctypes.CFUNCTYPE(INT, POINTER, POINTER, INT),
    "read": ctypes.CFUNCTYPE(INT, POINTER, POINTER, INT, LONG),
    "write": ctypes.CFUNCTYPE(INT, POINTER, POINTER, INT, LONG),
    "truncate": ctypes.CFUNCTYPE(INT, POINTER, LONG),
    "sync": ctypes.CFUNCTYPE(INT, POINTER, INT),
    "size": ctypes.CFUNCTYPE(INT, POINTER, POINTER),
}
# The library may keep a pointer to any of these as long as the process lives.
KEPT: list[Any] = []


def sqlite_library() -> ctypes.CDLL:
    """The very library that Python's own module uses."""
    import _sqlite3  # noqa: PLC0415 - only its file is asked for

    try:
        library = ctypes.CDLL(_sqlite3.__file__)
        library.sqlite3_vfs_find.restype = POINTER
        library.sqlite3_vfs_register.argtypes = [POINTER, INT]
        library.sqlite3_vfs_unregister.argtypes = [POINTER]
    except (AttributeError, OSError):
        missing("a Python whose SQLite library lets its functions be called")
    return library


class FailingDisk:
    """While its context is open, calls for files in a folder are counted, and may fail.

    Attributes
    ----------
    calls : int
        So many since `fail_at`.
    hit : list of str
        What failed, in order.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = str(folder).encode()
        self._tables: dict[int, Methods] = {}
        self._fails: Callable[[str, int], bool] = lambda *_: False
        self._code: int | None = None
        self.calls = 0
        self.hit: list[str] = []

    def fail_at(self, nth: int, *, lasting: bool) -> None:
        """Let the n-th call from now on fail, once or with all after it."""
        self.calls, self.hit, self._code = 0, [], None
        self._fails = lambda _, number: number == nth or (lasting and number > nth)

    def fill(self) -> None:
        """No more room: nothing can be written, everything else goes well."""
        self.calls, self.hit, self._code = 0, [], FULL
        self._fails = lambda what, _: what == "write"

    def heal(self) -> None:
        self._fails = lambda *_: False

    def __enter__(self) -> Self:
        self._library = sqlite_library()
        self._usual = self._library.sqlite3_vfs_find(None)
        shim = Vfs.from_buffer_copy(Vfs.from_address(self._usual))
        shim.name = b"failing"
        shim.next = None
        self._open = OPEN(shim.open)
        self._delete = SHAPES["delete"](shim.delete)
        ours = (OPEN(self._on_open), SHAPES["delete"](self._on_delete))
        shim.open, shim.delete = (ctypes.cast(each, POINTER).value for each in ours)
        KEPT.append((shim, ours, self))
        self._shim = ctypes.addressof(shim)
        self._library.sqlite3_vfs_register(self._shim, 1)
        return self

    def __exit__(self, *_: object) -> None:
        self.heal()
        self._library.sqlite3_vfs_register(self._usual, 1)
        self._library.sqlite3_vfs_unregister(self._shim)

    def _fault(self, what: str) -> int:
        """Count a call; return its fault, 0 for none."""
        self.calls += 1
        if not self._fails(what, self.calls):
            return 0
        self.hit.append(what)
        return self._code if self._code is not None else FAULTS[what]

    def _is_ours(self, path: int | None) -> bool:
        return path is not None and ctypes.string_at(path).startswith(self._folder)

    def _on_open(self, _: int, path: int | None, file: int, flags: int, out: int) -> int:
        if self._is_ours(path) and (fault := self._fault("open")):
            File.from_address(file).methods = None
            return fault
        result = self._open(self._usual, path, file, flags, out)
        methods = File.from_address(file).methods
        if result == 0 and methods and self._is_ours(path):
            File.from_address(file).methods = self._table(methods)
        return result

    def _on_delete(self, _: int, path: int, sync: int) -> int:
        if self._is_ours(path) and (fault := self._fault("delete")):
            return fault
        return self._delete(self._usual, path, sync)

    def _table(self, original: int) -> int:
        if original not in self._tables:
            table = Methods.from_buffer_copy(Methods.from_address(original))
            ours = []
            for name in ("read", "write", "truncate", "sync", "size"):
                ours.append(SHAPES[name](self._method(name, SHAPES[name](getattr(table, name)))))
                setattr(table, name, ctypes.cast(ours[-1], POINTER).value)
            KEPT.append((table, ours))
            self._tables[original] = table
        return ctypes.addressof(self._tables[original])

    def _method(self, name: str, usual: Callable[..., int]) -> Callable[..., int]:
        def method(file: int, *rest: Any) -> int:
            fault = self._fault(name)
            if fault and name == "write":
                # As disks do: the first part of it is there.
                buffer, length, offset = rest
                usual(file, buffer, length // 2, offset)
            return fault or usual(file, *rest)

        return method


def sound(path: Path) -> bool:
    """Whether SQLite finds nothing wrong with a file."""
    with sqlite3.connect(path) as connection:
        found = connection.execute("PRAGMA integrity_check").fetchall()
    connection.close()
    return found == [("ok",)]
