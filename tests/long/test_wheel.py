"""The archives have everything: what is installed from them plays the demo as the source does.

Pip fetches the parts that windwatch needs; nothing else here uses the network.
"""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.long

ROOT = Path(__file__).parent.parent.parent
NEEDED = {
    "windwatch/py.typed",
    "windwatch/airfields/data/airfields.txt.gz",
    "windwatch/airfields/data/PROVENANCE.md",
    "windwatch/delivery/fonts/DejaVuSans.ttf",
    "windwatch/delivery/fonts/DejaVuSans-Bold.ttf",
    "windwatch/delivery/fonts/LICENSE",
    "windwatch/notices/templates/notice.html",
    "windwatch/examples/config/demo.toml",
    "windwatch/examples/config/larkspur.toml",
    "windwatch/examples/config/windwatch.service",
    "windwatch/examples/config/Containerfile",
    "windwatch/examples/recorded_reports/front_day.txt",
}


def run(*words, cwd, env=None):
    found = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
        env=env,
    )
    assert found.returncode == 0, f"{words}\n{found.stdout[-2000:]}\n{found.stderr[-2000:]}"
    return found.stdout


def alone():
    """An environment in which nothing points to the source."""
    return {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PYTHON", "WINDWATCH", "VIRTUAL_ENV"))
    }


def build(source, out, target=()):
    run(sys.executable, "-m", "hatchling", "build", "-d", out, *target, cwd=source)
    return out


@pytest.fixture(scope="module")
def archives(tmp_path_factory):
    """The wheel and the source archive."""
    out = build(ROOT, tmp_path_factory.mktemp("dist"))
    [wheel], [source] = out.glob("*.whl"), out.glob("*.tar.gz")
    return wheel, source


def files_of(wheel):
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def source_played(tmp_path_factory):
    """What the demo comes to in the source tree."""
    return played([sys.executable, "-m", "windwatch"], ROOT, tmp_path_factory.mktemp("source"))


def played(windwatch, folder, out):
    text = run(*windwatch, "replay", "config/demo.toml", "--json", "--out", out, cwd=folder)
    document = json.loads(text)
    assert not document["problems"]
    return [(each["id"], each["contact"], each["subject"]) for each in document["notices"]]


def test_the_wheel_has_everything_and_nothing_else(archives):
    wheel, _ = archives
    names = set(files_of(wheel))
    assert names >= NEEDED
    source = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "windwatch").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert names >= source
    outside = {name for name in names - source if not name.startswith("windwatch/examples/")}
    assert all(re.match(r"windwatch-[\d.]+\.dist-info/", name) for name in outside)
    assert any(name.endswith("licenses/LICENSE") for name in outside)


def test_the_source_archive_makes_the_same_wheel(archives, tmp_path):
    wheel, source = archives
    with tarfile.open(source) as archive:
        archive.extractall(tmp_path, filter="data")
    [unpacked] = tmp_path.iterdir()
    assert (unpacked / "tests" / "conftest.py").is_file()
    assert (unpacked / ".ci" / "locked.txt").is_file()
    [again] = build(unpacked, tmp_path / "again", ("-t", "wheel")).glob("*.whl")
    assert files_of(again) == files_of(wheel)


def test_the_demo_runs_from_the_wheel_alone(archives, source_played, tmp_path):
    place, home = tmp_path / "v", tmp_path / "home"
    home.mkdir()
    venv.create(place, with_pip=True)
    run(place / "bin" / "pip", "install", "-q", archives[0], cwd=home, env=alone())
    program = place / "bin" / "windwatch"
    bare = {"PATH": os.defpath, "HOME": str(home)}
    assert "windwatch" in run(program, "--version", cwd=home, env=bare)
    run(program, "config", "examples", ".", cwd=home, env=bare)
    run(program, "config", "check", "config/larkspur.toml", cwd=home, env=bare)
    text = run(program, "replay", "config/demo.toml", "--json", cwd=home, env=bare)
    notices = json.loads(text)["notices"]
    found = [(each["id"], each["contact"], each["subject"]) for each in notices]
    assert found == source_played
    assert len(found) >= 30
    mails = list((home / "demo-notices").glob("*.eml"))
    assert len(mails) >= 30
    assert "heading_true_deg" in run(program, "runways", "LKRA", "--toml", cwd=home, env=bare)
    json.loads(run(program, "config", "schema", cwd=home, env=bare))


def test_the_installation_of_the_container_file_works_by_its_hashes(source_played, tmp_path):
    """Its COPY and pip lines, with a folder of the test where it says /opt and /build."""
    text = (ROOT / "config" / "Containerfile").read_text(encoding="utf-8")
    stage = text.partition("\nFROM")[2].partition("\nFROM")[0]
    place, home = tmp_path / "build", tmp_path / "opt"
    place.mkdir()
    env = alone()
    env.pop("PIP_CONSTRAINT", None)  # as nobody building it would have one
    done = 0
    for name, rest in re.findall(r"^(COPY|RUN) (.*)$", stage, re.MULTILINE):
        words = shlex.split(rest)
        if name == "COPY":
            *sources, target = words
            for source in sources:
                wanted = place / target
                if (ROOT / source).is_dir():
                    shutil.copytree(ROOT / source, wanted)
                else:
                    (place / target).mkdir(parents=True, exist_ok=True)
                    shutil.copy(ROOT / source, wanted)
            continue
        words = [word.replace("/opt/windwatch", str(home / "windwatch")) for word in words]
        run(sys.executable if words[0] == "python3" else words[0], *words[1:], cwd=place, env=env)
        done += 1
    assert done == 3
    program = [home / "windwatch" / "bin" / "windwatch"]
    run(*program, "config", "examples", tmp_path / "ours", cwd=tmp_path)
    assert played(program, tmp_path / "ours", tmp_path / "out") == source_played
