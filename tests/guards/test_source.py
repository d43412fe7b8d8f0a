"""What the source must not hold, whoever adds a line: read as a tree, not run.

Each check is first shown a line that it must find.
"""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parent.parent.parent
SOURCE = sorted((ROOT / "windwatch").rglob("*.py"))


@cache
def tree_of(path: Path) -> ast.AST:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def dotted(node: ast.AST) -> str:
    """``os.path.join`` of a name or an attribute; '' of anything else."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        before = dotted(node.value)
        return f"{before}.{node.attr}" if before else ""
    return ""


def used_in(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and full name of everything that is imported, called or handed on."""
    names: dict[str, str] = {}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, each.name) for each in node.names]
            names |= {each.asname or each.name: each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom):
            found += [(node.lineno, f"{node.module}.{each.name}") for each in node.names]
            names |= {each.asname or each.name: f"{node.module}.{each.name}" for each in node.names}
    for node in ast.walk(tree):
        head, _, rest = dotted(node).partition(".")
        if head:
            found.append((node.lineno, names.get(head, head) + (f".{rest}" if rest else "")))
    return found


USED = {path: used_in(tree_of(path)) for path in SOURCE}


def begins(name: str, known: frozenset[str]) -> bool:
    return any(name == each or name.startswith(f"{each}.") for each in known)


# --- deserialising, and no way out to a shell -------------------------------------------

READS_OBJECTS = frozenset(
    {"pickle", "_pickle", "cPickle", "dill", "marshal", "shelve", "yaml", "jsonpickle", "joblib"}
)
RUNS_CODE = frozenset({"eval", "exec", "compile", "__import__", "codeop", "runpy"})
RUNS_PROGRAMS = frozenset(
    {
        "subprocess",
        "os.system",
        "os.popen",
        "os.execv",
        "os.execve",
        "os.execvp",
        "os.spawnl",
        "os.spawnv",
        "os.posix_spawn",
        "pty",
        "commands",
        "asyncio.create_subprocess_shell",
        "asyncio.create_subprocess_exec",
        "webbrowser",
    }
)
READS_XML = frozenset({"xml", "lxml", "defusedxml", "xmltodict", "bs4"})
# A CSV that a spreadsheet opens needs its cells made harmless (a leading = + - @): nothing
# writes one, and whatever comes to write one must bring that, and a test of it, with it.
WRITES_CSV = frozenset({"csv.writer", "csv.DictWriter"})
# A name that can be guessed may be taken by somebody else first.
GUESSED_NAMES = frozenset({"tempfile.mktemp", "os.tempnam", "os.tmpnam"})


# The one program that is run: a file of ours, by the interpreter that runs (see below).
PAINTS = "windwatch/delivery/pictures.py"


def faults(used: list[tuple[int, str]], known: frozenset[str]) -> list[str]:
    return [f"{line}: {name}" for line, name in used if begins(name, known)]


@pytest.mark.parametrize(
    ("known", "line"),
    [
        pytest.param(
            READS_OBJECTS,
            "from pickle import loads",
            id="no pickle, no YAML of objects",
            marks=pytest.mark.guard("deserialising"),
        ),
        pytest.param(
            RUNS_CODE,
            "x = eval('1')",
            id="no text becomes code",
            marks=pytest.mark.guard("config"),
        ),
        pytest.param(
            RUNS_PROGRAMS,
            "import os as o\no.system('ls')",
            id="no shell, no other program",
            marks=pytest.mark.guard("process"),
        ),
        pytest.param(
            READS_XML,
            "import xml.etree.ElementTree as e",
            id="no XML",
            marks=pytest.mark.guard("parsers"),
        ),
        pytest.param(
            WRITES_CSV,
            "import csv\ncsv.writer(f)",
            id="no CSV is written",
            marks=pytest.mark.guard("feed text"),
        ),
        pytest.param(
            GUESSED_NAMES,
            "from tempfile import mktemp",
            id="no predictable temporary names",
            marks=pytest.mark.guard("files"),
        ),
    ],
)
def test_the_source_holds_none_of_it(known, line):
    assert faults(used_in(ast.parse(line)), known), "the check finds what it looks for"
    found = [
        f"{path.relative_to(ROOT)}:{fault}"
        for path, used in USED.items()
        for fault in faults(used, known)
        if (path.relative_to(ROOT).as_posix(), known) != (PAINTS, RUNS_PROGRAMS)
    ]
    assert found == []


@pytest.mark.guard("process")
def test_the_one_program_that_is_run_is_ours_without_a_shell_and_without_secrets():
    tree = tree_of(ROOT / PAINTS)
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    names = {name for _, name in USED[ROOT / PAINTS] if begins(name, RUNS_PROGRAMS)}
    assert names == {
        "subprocess",
        "subprocess.run",
        "subprocess.SubprocessError",
        "subprocess.TimeoutExpired",
        "subprocess.CalledProcessError",
    }
    [run] = [call for call in calls if dotted(call.func) == "subprocess.run"]
    given = {each.arg for each in run.keywords}
    assert {"env", "timeout"} <= given
    assert not given & {"shell", "executable", "preexec_fn"}
    [command] = run.args
    assert dotted(command) == "self._command"


# --- SQL --------------------------------------------------------------------------------

TAKES_SQL = {"execute", "exec_driver_sql", "executemany", "executescript", "text", "scalar"}
# Words of SQL that nothing else begins with.
SQL = ("select ", "insert ", "update ", "delete ", "pragma ", "create ", "drop ", "alter ")


def is_put_together(node: ast.AST) -> bool:
    """Whether a text is made of parts when the program runs."""
    match node:
        case ast.JoinedStr():
            return any(isinstance(part, ast.FormattedValue) for part in node.values)
        case ast.BinOp(op=ast.Add() | ast.Mod()):
            return True
        case ast.Call(func=ast.Attribute(attr="format" | "join" | "replace")):
            return True
    return False


def first_words(node: ast.AST) -> str:
    """What the literal parts of a text say, in lower case."""
    parts = (n.value for n in ast.walk(node) if isinstance(n, ast.Constant))
    return " ".join(part for part in parts if isinstance(part, str)).strip().lower()


def sql_faults(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args:
            called = getattr(node.func, "attr", getattr(node.func, "id", ""))
            if called in TAKES_SQL and is_put_together(node.args[0]):
                yield f"{node.lineno}: {ast.unparse(node)[:60]}"
        if is_put_together(node) and first_words(node).startswith(SQL):
            yield f"{node.lineno}: {ast.unparse(node)[:60]}"


# These take no parameters; what stands in them is a number, or the name of a table of ours.
WITHOUT_PARAMETERS = ("pragma ", "vacuum ", "text(f'\"{name}\".*')")


@pytest.mark.guard("sql")
@pytest.mark.parametrize(
    "line",
    [
        'c.execute(f"SELECT * FROM notices WHERE contact = {name}")',
        'c.execute("DELETE FROM notices WHERE contact = " + name)',
        'sql = "SELECT %s" % name',
        'text("UPDATE x SET y = {}".format(name))',
    ],
)
def test_the_check_finds_sql_that_is_put_together(line):
    assert list(sql_faults(ast.parse(line)))


@pytest.mark.guard("sql")
def test_all_sql_has_bound_parameters_only():
    found = [
        f"{path.relative_to(ROOT)}:{fault}"
        for path in SOURCE
        for fault in sql_faults(tree_of(path))
        if not any(word in fault.lower() for word in WITHOUT_PARAMETERS)
    ]
    assert found == []


# --- templates, certificates, comparisons --------------------------------------------------


@pytest.mark.guard("config")
def test_templates_come_from_the_package_alone_and_escape_by_themselves():
    made = [
        (path.name, node)
        for path in SOURCE
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call)
        and dotted(node.func).rpartition(".")[2] in ("Environment", "Template", "from_string")
        and any(name.startswith("jinja2") for _, name in USED[path])
    ]
    assert made
    for name, node in made:
        said = {each.arg: ast.unparse(each.value) for each in node.keywords}
        assert ast.unparse(node.func) == "Environment", name
        assert said["loader"].startswith("PackageLoader("), name
        assert said["autoescape"] == "True", name


@pytest.mark.guard("mail")
@pytest.mark.guard("addresses")
def test_nobody_switches_the_checking_of_certificates_off():
    wanted = re.compile(
        r"CERT_NONE|CERT_OPTIONAL|_create_unverified|verify *= *False|check_hostname *= *False"
    )
    found = [
        f"{path.relative_to(ROOT)}: {word}"
        for path in SOURCE
        for word in wanted.findall(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.guard("secrets")
def test_chance_that_must_not_be_guessed_comes_from_secrets():
    """`random` spreads retries, and shuffles the questions of a teaching sheet by a word."""
    users = {
        str(path.relative_to(ROOT))
        for path, used in USED.items()
        if faults(used, frozenset({"random"}))
    }
    assert users <= {
        "windwatch/cli/watch.py",
        "windwatch/delivery/worker.py",
        "windwatch/feeds/http.py",
        "windwatch/schedule.py",
        "windwatch/teaching/questions.py",
        "windwatch/watch.py",
    }


# --- what it is made of -------------------------------------------------------------------

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# The name in a program where it is not the name of the package.
IMPORTED_AS = {
    "prometheus-client": "prometheus_client",
    "recurring-ical-events": "recurring_ical_events",
    "psycopg": "psycopg",
}
# They come with another package, which needs them as much as we do.
COMES_WITH = {"markupsafe": "jinja2", "annotated_types": "pydantic", "pydantic_core": "pydantic"}


def package(requirement: str) -> str:
    name = requirement.partition(";")[0].strip()
    for sign in "[<>=!~ ":
        name = name.partition(sign)[0]
    return name.lower()


@pytest.mark.guard("supply chain")
def test_nothing_is_imported_that_is_not_declared():
    declared = {package(each) for each in PROJECT["dependencies"]}
    extras = PROJECT["optional-dependencies"]
    for name, wanted in extras.items():
        if name not in ("test", "dev"):
            declared |= {package(each) for each in wanted}
    known = {IMPORTED_AS.get(name, name).replace("-", "_") for name in declared} | set(COMES_WITH)
    found = set()
    for path in SOURCE:
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Import):
                found |= {each.name.partition(".")[0] for each in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found.add((node.module or "").partition(".")[0])
    assert found - set(sys.stdlib_module_names) - known - {"windwatch", ""} == set()


@pytest.mark.guard("supply chain")
def test_the_list_of_parts_has_each_that_is_declared_and_a_hash_for_everything():
    text = (ROOT / ".ci" / "locked.txt").read_text(encoding="utf-8")
    parts = re.split(
        r"^(?=[a-z0-9])", re.sub(r"^#.*\n", "", text, flags=re.MULTILINE), flags=re.MULTILINE
    )
    locked = {}
    for part in filter(str.strip, parts):
        name, version = re.match(r"([a-z0-9._-]+)==([^ ;\\]+)", part).groups()
        locked[name] = version
        assert re.search(r"--hash=sha256:[0-9a-f]{64}", part), name
    extras = PROJECT["optional-dependencies"]
    offered = ("board", "push", "metrics", "postgres")
    wanted = [*PROJECT["dependencies"], *(each for name in offered for each in extras[name])]
    assert {package(each) for each in wanted} <= set(locked)
    assert len(locked) <= 40
    for requirement in map(Requirement, wanted):
        assert requirement.specifier.contains(locked[requirement.name.lower()]), requirement


@pytest.mark.guard("supply chain")
def test_what_is_needed_to_watch_is_a_dozen_packages_and_each_has_its_bounds():
    needed = PROJECT["dependencies"]
    assert len(needed) <= 12
    without = {package(each) for each in needed if "<" not in each}
    # Lists that are better new than known: certificates and time zones.
    assert without == {"certifi", "tzdata"}
