"""Ten thousand contacts hear of one crossing (F77), in a process of their own."""

import json
import subprocess
import sys
import threading
from collections import Counter
from pathlib import Path

import pytest

from tests.servers.raw_server import RawServer

ROOT = Path(__file__).parent.parent.parent
CONTACTS = 10_000


@pytest.mark.long
@pytest.mark.fault("F77")
def test_f77_all_of_10_000_contacts_are_told_with_32_sockets_and_256_mib(tmp_path):
    calls: Counter[str] = Counter()
    lock = threading.Lock()

    def answers(connection):
        head = b""
        while b"\r\n\r\n" not in head:
            piece = connection.recv(65_536)
            if not piece:
                return
            head += piece
        with lock:
            calls[head.split(b" ", 2)[1].decode()] += 1
        connection.sendall(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")

    with RawServer(answers, address="0.0.0.0") as server:  # noqa: S104 - 127.0.0.1 to .50
        ran = subprocess.run(
            [
                sys.executable,
                "-m",
                "tests.delivery.ten_thousand",
                str(server.port),
                str(tmp_path),
                str(CONTACTS),
            ],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
    assert ran.returncode == 0, ran.stderr
    found = json.loads(ran.stdout)
    assert found["states"] == {"accepted": CONTACTS}
    assert calls == Counter({f"/{number}": 1 for number in range(CONTACTS)}), "each of them, once"
    assert found["sockets"] <= 32
    assert found["peak_mib"] <= 256
