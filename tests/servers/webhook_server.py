"""A real webhook receiver that verifies signatures with the scheme's own library."""

import base64
import json
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Self

from standardwebhooks import Webhook
from standardwebhooks.webhooks import WebhookVerificationError

from tests.servers.certificates import ca_file, server_context

SECRET = "whsec_" + base64.b64encode(b"an invented secret of ours").decode()
DROP = -1  # take it, then close the connection without an answer


@dataclass(frozen=True)
class Call:
    """One call as it came in."""

    path: str
    headers: dict[str, str]
    body: bytes
    payload: Any
    status: int


@dataclass
class WebhookReceiver:
    """Takes calls on 127.0.0.1 while its context is open.

    ``received`` holds the calls whose signature was right and that were answered 2xx, ``calls``
    every call; ``refused`` what was wrong with those whose signature was not right (answered 401).
    ``script(*statuses)`` answers the next calls so, one each: a status, a status with headers
    ``(429, {"Retry-After": "7"})``, `DROP`, or None for 204. ``check_time=False`` verifies the
    signature but not its age, for clocks that are moved by hand.
    """

    secret: str = SECRET
    tls: bool = False
    expired: bool = False
    check_time: bool = True
    answer_body: bytes = b""
    delay_s: float = 0.0
    received: list[Call] = field(default_factory=list)
    calls: list[Call] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    on_call: Any = None

    def __post_init__(self) -> None:
        self._script: deque = deque()
        self._server: ThreadingHTTPServer | None = None
        self._thread: threading.Thread | None = None

    @property
    def url(self) -> str:
        scheme = "https" if self.tls else "http"
        return f"{scheme}://127.0.0.1:{self._server.server_address[1]}/wind"

    @property
    def ca_file(self) -> Path:
        return ca_file()

    def script(self, *statuses: Any) -> None:
        self._script.extend(statuses)

    def __enter__(self) -> Self:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                receiver._take(self)

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        if self.tls:
            context = server_context("127.0.0.1", expired=self.expired)
            self._server.socket = context.wrap_socket(self._server.socket, server_side=True)
            self._server.handle_error = lambda *_: None
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def _take(self, handler: BaseHTTPRequestHandler) -> None:
        length = int(handler.headers["Content-Length"])
        body = handler.rfile.read(length)
        if len(body) < length:
            # The caller died on the way: half a call is none.
            handler.close_connection = True
            return
        headers = {name.lower(): value for name, value in handler.headers.items()}
        problem = self._verify(body, headers)
        answer = self._script.popleft() if self._script else None
        status, extra = answer if isinstance(answer, tuple) else (answer or 204, {})
        if problem:
            self.refused.append(problem)
            status, extra = 401, {}
        call = Call(handler.path, headers, body, None if problem else json.loads(body), status)
        self.calls.append(call)
        if 200 <= status < 300:
            self.received.append(call)
        if self.on_call is not None:
            self.on_call(call)
        if self.delay_s:
            time.sleep(self.delay_s)
        if status == DROP:
            handler.close_connection = True
            return
        handler.send_response(status)
        content = b"" if status == 204 else self.answer_body
        for name, value in {"Content-Length": str(len(content)), **extra}.items():
            handler.send_header(name, value)
        handler.end_headers()
        handler.wfile.write(content)

    def _verify(self, body: bytes, headers: dict[str, str]) -> str:
        webhook = Webhook(self.secret)
        try:
            if self.check_time:
                webhook.verify(body, headers)
                return ""
            # The library's own signature for the time that is claimed, whatever it is.
            claimed = datetime.fromtimestamp(int(headers["webhook-timestamp"]), UTC)
            right = webhook.sign(headers["webhook-id"], claimed, body.decode())
        except (WebhookVerificationError, KeyError, ValueError) as error:
            return f"{type(error).__name__}: {error}"
        signatures = headers["webhook-signature"].split(" ")
        return "" if right in signatures else "no signature is right"
