"""Who may talk to the bench: this machine's browser, with the key, from the bench's own page."""

import hmac
import time
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.responses import PlainTextResponse

MOST_BODY = 1_000_000  # bytes; a scenario has some thousands
HEADERS = (
    (b"content-security-policy",
     b"default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
     b"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)  # fmt: skip

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


class TooLarge(Exception):
    """A body beyond `MOST_BODY`."""


class Guard:
    """Lets through what has the key, this Host and, where there is one, this Origin; bounds bodies.

    ``last``: when the last request came that was let through (s of `time.monotonic`).
    """

    def __init__(self, app: App, key: str, port: int) -> None:
        self.app, self.key = app, key.encode()
        self.hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
        self.last = time.monotonic()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, see the ASGI specification."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        refused = self._refused(scope)
        if refused is not None:
            await PlainTextResponse(refused[1], refused[0])(scope, receive, _with_headers(send))
            return
        self.last = time.monotonic()
        await self._bounded(scope, receive, _with_headers(send))

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value)
        host = headers.get(b"host", [])
        if len(host) != 1 or host[0] not in self.hosts:
            return 421, "wrong host"
        own = [b"http://" + host[0]]
        if headers.get(b"origin", own) != own:
            return 403, "wrong origin"
        if scope["method"] not in ("GET", "HEAD") and b"origin" not in headers:
            return 403, "no origin"
        given = scope["path"].encode("utf-8", "surrogatepass").split(b"/")
        if len(given) < 3 or not hmac.compare_digest(given[1], self.key):
            return 403, "wrong key"
        length = headers.get(b"content-length", [b"0"])[0]
        if not length.isdigit() or int(length) > MOST_BODY:
            return 413, "too large"
        return None

    async def _bounded(self, scope: Scope, receive: Receive, send: Send) -> None:
        got, begun = 0, False

        async def bounded() -> MutableMapping[str, Any]:
            nonlocal got
            message = await receive()
            got += len(message.get("body", b""))
            if got > MOST_BODY:
                raise TooLarge
            return message

        async def noted(message: MutableMapping[str, Any]) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, bounded, noted)
        except TooLarge:
            if not begun:
                await PlainTextResponse("too large", 413)(scope, receive, send)


def _with_headers(send: Send) -> Send:
    """Put the headers that every answer has in front of those that it sets itself."""

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in message["headers"]}
            added = [header for header in HEADERS if header[0] not in own]
            message = {**message, "headers": [*message["headers"], *added]}
        await send(message)

    return sending
