"""What only some systems have is asked for before it is used: office machines run Windows, too.

The tests run on Linux alone. This reads the source for names that other systems lack.
"""

import ast
from pathlib import Path

import pytest

SOURCE = sorted((Path(__file__).parent.parent.parent / "windwatch").rglob("*.py"))

# What the library reference calls "Availability: Unix" (or Windows), as far as one may want it.
NOT_EVERYWHERE = {
    "fcntl", "resource", "pwd", "grp", "termios", "tty", "pty", "syslog", "msvcrt", "winreg",
    "os.kill", "os.killpg", "os.fork", "os.getuid", "os.geteuid", "os.getgid", "os.getloadavg",
    "os.O_DIRECTORY", "os.O_NOFOLLOW", "os.O_CLOEXEC", "os.O_SYNC", "os.O_NONBLOCK", "os.chown",
    "os.fchown", "os.fchmod", "os.mkfifo", "os.statvfs", "os.uname", "os.sysconf", "os.nice",
    "os.setsid", "os.sched_getaffinity", "os.posix_fadvise", "os.getpgid",
    "signal.SIGHUP", "signal.SIGKILL", "signal.SIGUSR1", "signal.SIGUSR2", "signal.SIGALRM",
    "signal.SIGPIPE", "signal.SIGCHLD", "signal.alarm", "signal.setitimer", "signal.pause",
    "socket.AF_UNIX", "socket.SO_REUSEPORT", "time.tzset", "time.clock_gettime",
}  # fmt: skip
ASKS = ("os.name", "sys.platform", "hasattr(")
MISSING = {"ImportError", "ModuleNotFoundError"}


def asks_first(node):
    """Whether a condition or a handler asks which system this is."""
    if isinstance(node, ast.If | ast.IfExp):
        return any(each in ast.unparse(node.test) for each in ASKS)
    if isinstance(node, ast.Try):
        return any(ast.unparse(each.type) in MISSING for each in node.handlers if each.type)
    return False


def used_in(node):
    """Names of `NOT_EVERYWHERE` that this very node uses."""
    if isinstance(node, ast.Import):
        return {each.name for each in node.names} & NOT_EVERYWHERE
    if isinstance(node, ast.ImportFrom):
        dotted = {f"{node.module}.{each.name}" for each in node.names}
        return ({node.module or ""} | dotted) & NOT_EVERYWHERE
    if isinstance(node, ast.Attribute):
        return {ast.unparse(node)} & NOT_EVERYWHERE
    return set()


def unguarded(tree):
    """Line and name of each use that nothing asks about before it, outward or in its function."""
    found = []

    def visit(node, *, asked):
        asked = asked or asks_first(node)
        if not asked:
            found.extend((node.lineno, name) for name in sorted(used_in(node)))
        body = getattr(node, "body", None)
        for child in ast.iter_child_nodes(node):
            # `if os.name != "posix": return` speaks for the rest of its function.
            earlier = isinstance(node, ast.FunctionDef) and any(
                asks_first(each) and isinstance(each.body[-1], ast.Return | ast.Raise)
                for each in body
                if isinstance(each, ast.If) and each.lineno < getattr(child, "lineno", 0)
            )
            visit(child, asked=asked or earlier)

    visit(tree, asked=False)
    return found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("import fcntl", ["fcntl"]),
        ("import os\nos.kill(1, 0)", ["os.kill"]),
        ("import os\nif os.name == 'posix':\n    os.kill(1, 0)", []),
        ("def f():\n    os.kill(1, 0)\n    if os.name != 'posix':\n        return", ["os.kill"]),
        ("def f():\n    if os.name != 'posix':\n        return\n    os.kill(1, 0)", []),
        ("try:\n    import resource\nexcept ImportError:\n    resource = None", []),
        ("from signal import SIGHUP", ["signal.SIGHUP"]),
    ],
)
def test_the_check_finds_what_it_looks_for(text, found):
    assert [name for _, name in unguarded(ast.parse(text))] == found


def test_what_not_every_system_has_is_asked_for_first():
    found = {
        f"{path.name}:{line} {name}"
        for path in SOURCE
        for line, name in unguarded(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert found == set()


def test_every_text_file_is_opened_as_utf_8():
    """Windows would take the code page of its office."""
    wrong = []
    for path in SOURCE:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = ast.unparse(node.func).rpartition(".")[2]
            given = {each.arg for each in node.keywords}
            words = [each.value for each in node.args if isinstance(each, ast.Constant)]
            words += [each.value.value for each in node.keywords
                      if each.arg == "mode" and isinstance(each.value, ast.Constant)]  # fmt: skip
            binary = any(isinstance(word, str) and "b" in word for word in words)
            opened = name in {"open", "fdopen"} and isinstance(node.func, ast.Attribute | ast.Name)
            foreign = ast.unparse(node.func) in {"os.open", "socket.open", "webbrowser.open"}
            text = name in {"read_text", "write_text"} or (opened and not binary and not foreign)
            if text and "encoding" not in given:
                wrong.append(f"{path.name}:{node.lineno} {ast.unparse(node)[:60]}")
    assert wrong == []


def test_no_time_is_written_in_a_way_of_one_system_only():
    """`%-d` and `%s` are the C library's own."""
    wrong = [
        f"{path.name}: {each.value}"
        for path in SOURCE
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("strftime")
        for each in node.args
        if isinstance(each, ast.Constant) and ("%-" in each.value or "%s" in each.value)
    ]
    assert wrong == []
