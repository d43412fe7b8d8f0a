"""The service of config/windwatch.service has no more rights than a watch needs."""

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from windwatch.cli.main import main

ROOT = Path(__file__).parent.parent.parent
UNIT = ROOT / "config" / "windwatch.service"

# Every key that the unit may have, with the values it takes. Source: the manual of systemd 252,
# systemd.unit(5), systemd.service(5), systemd.exec(5), systemd.resource-control(5).
YES_OR_NO = r"yes|no"
NAME = r"[a-z_][a-z0-9_-]*"
SPAN = r"\d+(s|min)?"
KNOWN = {
    "Unit": {
        "Description": r".+",
        "Wants": r"[a-z@.-]+\.target",
        "After": r"[a-z@.-]+\.target",
        "StartLimitIntervalSec": SPAN,
    },
    "Service": {
        "Type": r"simple|exec|forking|oneshot|dbus|notify|idle",
        "User": NAME,
        "ExecStart": r"/.+",
        "ExecReload": r"/.+",
        "Restart": r"no|always|on-success|on-failure|on-abnormal|on-abort|on-watchdog",
        "RestartSec": SPAN,
        "TimeoutStopSec": SPAN,
        "StateDirectory": NAME,
        "StateDirectoryMode": r"0[0-7]{3}",
        "WorkingDirectory": r"/.+",
        "UMask": r"0[0-7]{3}",
        "MemoryMax": r"\d+[KMG]",
        "TasksMax": r"\d+",
        "CapabilityBoundingSet": r"",
        "AmbientCapabilities": r"",
        "KeyringMode": r"inherit|private|shared",
        "ProtectSystem": r"yes|no|full|strict",
        "ProtectProc": r"noaccess|invisible|ptraceable|default",
        "ProcSubset": r"all|pid",
        "DevicePolicy": r"auto|closed|strict",
        "RestrictAddressFamilies": r"(AF_[A-Z0-9]+ ?)+",
        "SystemCallArchitectures": r"native",
        "SystemCallFilter": r"~?(@[a-z-]+ ?)+",
        "SystemCallErrorNumber": r"E[A-Z]+",
    }
    | dict.fromkeys(
        (
            "NoNewPrivileges",
            "RestrictSUIDSGID",
            "LockPersonality",
            "RestrictRealtime",
            "RestrictNamespaces",
            "PrivateUsers",
            "RemoveIPC",
            "ProtectHome",
            "PrivateTmp",
            "PrivateDevices",
            "ProtectClock",
            "ProtectHostname",
            "ProtectKernelTunables",
            "ProtectKernelModules",
            "ProtectKernelLogs",
            "ProtectControlGroups",
            "MemoryDenyWriteExecute",
        ),
        YES_OR_NO,
    ),
    "Install": {"WantedBy": r"[a-z-]+\.target"},
}


def read_unit(text):
    """Sections, each a list of keys and values: unlike in INI files a key may stand twice."""
    found, section = {}, None
    for line in text.splitlines():
        if opened := re.fullmatch(r"\[(\w+)\]", line):
            section = found.setdefault(opened[1], [])
        elif line and not line.startswith(("#", ";")):
            key, equals, value = line.partition("=")
            assert equals, line
            assert section is not None, line
            section.append((key, value))
    return found


@pytest.fixture(scope="module")
def unit():
    return read_unit(UNIT.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def service(unit):
    return dict(unit["Service"])


def wrong_in(unit):
    """Settings that systemd would ignore with a warning, or refuse."""
    return [
        f"[{section}] {key}={value}"
        for section, pairs in unit.items()
        for key, value in pairs
        if not re.fullmatch(KNOWN.get(section, {}).get(key, "(?!)"), value)
    ]


def test_every_setting_is_one_that_systemd_documents(unit):
    assert list(unit) == ["Unit", "Service", "Install"]
    assert wrong_in(unit) == []


@pytest.mark.parametrize(
    "line", ["ProtectSytem=strict", "ProtectHome=maybe", "MemoryMax=lots", "ExecStart=windwatch"]
)
def test_a_setting_that_would_be_ignored_is_found(line):
    assert wrong_in(read_unit(f"[Service]\n{line}\n")) == [f"[Service] {line}"]


@pytest.mark.guard("process")
def test_it_runs_as_somebody_who_may_nothing_and_writes_in_one_folder(service):
    assert service["User"] != "root"
    assert service["CapabilityBoundingSet"] == ""
    assert service["NoNewPrivileges"] == "yes"
    assert service["ProtectSystem"] == "strict", "a root that is read only"
    assert service["StateDirectory"] == "windwatch"
    assert service["WorkingDirectory"] == "/var/lib/windwatch"
    assert (service["StateDirectoryMode"], service["UMask"]) == ("0700", "0077")
    assert "ReadWritePaths" not in service


@pytest.mark.guard("process")
def test_it_is_started_anew_when_it_ends_and_cannot_take_the_whole_machine(unit, service):
    assert service["Restart"] == "always"
    assert dict(unit["Unit"])["StartLimitIntervalSec"] == "0", "however often it takes"
    assert service["MemoryMax"] == "512M"
    assert not re.search(r"[;&|`]|sh -c", service["ExecStart"]), "no shell in between"


def test_its_commands_are_commands(service):
    program, command, *rest = shlex.split(service["ExecStart"])
    assert Path(program).name == "windwatch"
    known = main.get_command(None, command)
    parsed = known.make_context(command, rest, resilient_parsing=False)
    assert parsed.params["config"] == (Path("/etc/windwatch/field.toml"),)
    assert service["ExecReload"] == "/bin/kill -HUP $MAINPID", "what a watch takes for: read anew"


ANALYZE = shutil.which("systemd-analyze")
NOT_HERE = "systemd-analyze is not here; the reader above has looked at every setting"


@pytest.fixture
def startable(tmp_path):
    """The unit with a program that this machine has."""
    path = tmp_path / "windwatch.service"
    text = UNIT.read_text(encoding="utf-8")
    path.write_text(text.replace("/opt/windwatch/bin/windwatch", shutil.which("true")))
    return path


@pytest.mark.skipif(ANALYZE is None, reason=NOT_HERE)
def test_systemd_itself_finds_nothing_wrong(startable):
    found = subprocess.run(
        [ANALYZE, "verify", startable], capture_output=True, text=True, check=False
    )
    ours = [line for line in found.stderr.splitlines() if "windwatch" in line]
    assert ours == []


@pytest.mark.guard("process")
@pytest.mark.skipif(ANALYZE is None, reason=NOT_HERE)
def test_systemd_calls_its_exposure_small(startable):
    """Systemd's own scale: 0 is exposed to nothing, 10 to everything; up to 2 it says OK."""
    found = subprocess.run(
        [ANALYZE, "security", "--offline=yes", "--threshold=20", "--no-pager", startable],
        capture_output=True,
        text=True,
        check=False,
    )
    if "offline" in found.stderr:
        pytest.skip("this systemd is older than 250 and judges no file")
    assert found.returncode == 0, found.stdout[-200:]
