"""The three lists of parts (`.ci/lock` makes them) agree with each other and with the project."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
ANEW = "make the lists anew: .ci/lock"
# Licences under which everything may be used beside an MIT program, unchanged and by import.
MAY_BE_USED = re.compile(
    r"MIT|BSD|Apache|ISC|MPL-2\.0|PSF|Python Software Foundation|LGPL-3\.0", re.IGNORECASE
)


def versions(name):
    text = (ROOT / ".ci" / name).read_text(encoding="utf-8")
    return dict(re.findall(r"^([a-z0-9._-]+)==([^ ;\\\n]+)", text, re.MULTILINE))


def declared(*extras):
    groups = [PROJECT["project"]["optional-dependencies"][each] for each in extras]
    return [
        Requirement(each)
        for group in (PROJECT["project"]["dependencies"], *groups)
        for each in group
        if not each.startswith("windwatch[")
    ]


@pytest.mark.guard("supply chain")
def test_a_check_run_has_one_version_of_everything_that_is_declared():
    pins = versions("pins.txt")
    builder = Requirement(PROJECT["build-system"]["requires"][0])
    for wanted in [*declared("board", "push", "metrics", "postgres", "test", "dev"), builder]:
        name = canonicalize_name(wanted.name)
        assert name in pins, f"{name}: {ANEW}"
        assert wanted.specifier.contains(pins[name]), f"{wanted}, pinned {pins[name]}: {ANEW}"


@pytest.mark.guard("supply chain")
def test_what_is_installed_is_what_has_been_tested():
    pins = versions("pins.txt")
    assert {name: pins.get(name) for name in versions("locked.txt")} == versions("locked.txt"), ANEW


@pytest.mark.guard("supply chain")
def test_the_list_of_parts_is_the_lock_with_a_licence_for_each():
    document = json.loads((ROOT / ".ci" / "parts.json").read_text(encoding="utf-8"))
    assert document["bomFormat"] == "CycloneDX"
    parts = document["components"]
    assert {part["name"]: part["version"] for part in parts} == versions("locked.txt"), ANEW
    for part in parts:
        assert part["purl"] == f"pkg:pypi/{part['name']}@{part['version']}"
        [licence] = part["licenses"]
        assert MAY_BE_USED.search(licence["license"]["name"]), part
