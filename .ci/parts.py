"""Print the list of parts (CycloneDX): what a locked file names, with licences from its metadata.

Run by `.ci/lock` in an environment that has exactly these parts installed.
"""

import json
import re
import sys
from importlib.metadata import PackageMetadata, metadata, version
from pathlib import Path

CLASSIFIER = "License :: OSI Approved :: "
# What its licence file says, where the metadata says nothing.
BY_ITS_FILE = {"resvg-py": "MIT"}


def parts_of(locked: str) -> dict[str, str]:
    """Names and versions in a file made by pip-compile."""
    return dict(re.findall(r"^([a-z0-9._-]+)==([^ ;\\\n]+)", locked, re.MULTILINE))


def licence_of(about: PackageMetadata) -> str:
    """An SPDX expression, a short name, or what the classifiers say."""
    stated = (about.get("License-Expression") or about.get("License") or "").strip()
    if stated and "\n" not in stated:
        return stated
    classified = [
        each.removeprefix(CLASSIFIER)
        for each in about.get_all("Classifier") or []
        if each.startswith(CLASSIFIER)
    ]
    name = re.sub(r"[-_.]+", "-", about["Name"]).lower()
    return " AND ".join(classified) or BY_ITS_FILE.get(name, "not stated")


def main() -> None:
    """Print the document."""
    locked = parts_of(Path(sys.argv[1]).read_text(encoding="utf-8"))
    wrong = {name for name in locked if version(name) != locked[name]}
    if wrong:
        sys.exit(f"installed in another version than locked: {', '.join(sorted(wrong))}")
    parts = [
        {
            "type": "library",
            "name": name,
            "version": locked[name],
            "purl": f"pkg:pypi/{name}@{locked[name]}",
            "licenses": [{"license": {"name": licence_of(metadata(name))}}],
        }
        for name in sorted(locked)
    ]
    document = {"bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1, "components": parts}
    print(json.dumps(document, indent=1))


if __name__ == "__main__":
    main()
