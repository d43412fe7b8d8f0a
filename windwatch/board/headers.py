"""What every answer of the board says to the browser: nothing from elsewhere, nothing kept."""

from __future__ import annotations

from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY: Final = (
    "default-src 'none'; "
    "script-src 'self'; "
    "style-src 'self'; "
    "img-src 'self' data:; "
    "connect-src 'self'; "
    "manifest-src 'self'; "
    "form-action 'self'; "
    "frame-ancestors 'none'; "
    "base-uri 'none'"
)
PERMISSIONS: Final = ", ".join(
    f"{name}=()"
    for name in (
        "accelerometer",
        "camera",
        "display-capture",
        "geolocation",
        "gyroscope",
        "magnetometer",
        "microphone",
        "midi",
        "payment",
        "usb",
    )
)
HEADERS: Final = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"permissions-policy", PERMISSIONS.encode()),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-robots-tag", b"noindex, nofollow"),
)
# Long, for what bears its content's hash in its name.
FOR_EVER: Final = "public, max-age=31536000, immutable"
# Pages show what only some may see, and what is soon old.
NOT_KEPT: Final = "no-store"


class Headers:
    """Puts them into every answer, whatever made it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = list(message.get("headers", ()))
                named = {name for name, _ in own}
                own += [each for each in HEADERS if each[0] not in named]
                if b"cache-control" not in named:
                    own.append((b"cache-control", NOT_KEPT.encode()))
                message["headers"] = own
            await send(message)

        await self._app(scope, receive, with_headers)
