"""A board on the store of a folder, in a process of its own: its port on the first line.

Usage: python board_process.py CONFIG
"""

import sys
import threading
from dataclasses import replace
from pathlib import Path

from windwatch.board.opening import open_board
from windwatch.clock import SystemClock
from windwatch.settings.read import read_settings
from windwatch.settings.running import BoardValues
from windwatch.wiring import open_store_of


def serve(config: Path) -> None:
    clock = SystemClock()
    settings = replace(read_settings([config], {}), board=BoardValues(port=0))
    with open_store_of(settings, clock) as store, open_board(settings, store, clock) as board:
        print(board.port, flush=True)  # noqa: T201 - the test waits for it
        # Until the test closes our input.
        ended = threading.Event()
        threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
        ended.wait()


if __name__ == "__main__":
    serve(Path(sys.argv[1]))
