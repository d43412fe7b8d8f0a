"""Webhook receivers in a process of their own, each answering after a while.

    python slow_receivers.py RECEIVERS DELAY_S

Says their ports as one line of JSON; when its standard input ends, says what came: the paths in
the order in which they came, and the most connections that were open at a time.
"""

import asyncio
import json
import os
import sys


class Receivers:
    """Take every call, and count."""

    def __init__(self, delay_s: float) -> None:
        self._delay_s = delay_s
        self.paths: list[str] = []
        self.open = self.most_open = 0

    async def take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.open += 1
        self.most_open = max(self.most_open, self.open)
        try:
            head = await reader.readuntil(b"\r\n\r\n")
            length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n")[0])
            await reader.readexactly(length)
            self.paths.append(head.split(b" ", 2)[1].decode())
            await asyncio.sleep(self._delay_s)
            writer.write(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
            await writer.drain()
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # whoever called was killed
        finally:
            self.open -= 1
            writer.close()


async def receive(receivers: int, delay_s: float) -> None:
    found = Receivers(delay_s)
    servers = [await asyncio.start_server(found.take, "127.0.0.1", 0) for _ in range(receivers)]
    print(json.dumps([s.sockets[0].getsockname()[1] for s in servers]), flush=True)  # noqa: T201
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    print(json.dumps({"paths": found.paths, "most_open": found.most_open}), flush=True)  # noqa: T201
    os._exit(0)  # calls that still wait for their answer are cut short


if __name__ == "__main__":
    asyncio.run(receive(int(sys.argv[1]), float(sys.argv[2])))
