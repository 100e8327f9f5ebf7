"""What is let in: requests of the page itself, of this machine, with the session's token.

The server listens on 127.0.0.1 only. That alone does not keep other pages out: any page in the same
browser can send requests to it, and a name that a stranger points at 127.0.0.1 makes them look
like its own. So the Host must be ours to the letter, the Origin too where a browser sends one, and
every request but the first carries the session's token in a cookie that other sites cannot send.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

ADDRESS = "127.0.0.1"
MAX_BODY = 3_000_000  # bytes; a file of this kind is far smaller
READING = ("GET", "HEAD")

POLICY = "; ".join((
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self' blob:",
    "connect-src 'self'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'",
    "require-trusted-types-for 'script'", "trusted-types 'none'",
))
# A report or a drawing is a document of its own: it may style itself and hold its pictures, and
# runs nothing.
DOCUMENT_POLICY = ("default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
                   "frame-ancestors 'none'; sandbox")

HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-embedder-policy", b"require-corp"),
    (b"x-frame-options", b"DENY"),
    (b"cache-control", b"no-store"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), usb=()"),
)


class TooLarge(Exception):
    """A request's body is longer than MAX_BODY."""


class Guard:
    """Wraps the application; see the module's docstring.

    Parameters
    ----------
    app : what is guarded. port : where the server listens. token : the session's.
    """

    def __init__(self, app: App, *, port: int, token: str) -> None:
        self.app = app
        self.host = f"{ADDRESS}:{port}"
        self.origin = f"http://{self.host}"
        self.cookie = f"lanesim-{port}"
        self.token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or say in a line why not."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # a web socket: closed by the server, for nothing has accepted it
        status, words = self._refusal(scope)
        if status:
            await _say(send, status, words)
            return
        if scope["path"] == "/" and self._first_visit(scope):
            await self._welcome(send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = _with_headers(message["headers"])
            await send(message)

        await self.app(scope, _limited(receive), answer)

    def _refusal(self, scope: Scope) -> tuple[int, str]:
        """Status and reason of a request that is not served; 0 for one that is."""
        headers: dict[bytes, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value.decode("latin-1"))
        if headers.get(b"host") != [self.host]:
            return 403, f"refused: this page answers at {self.origin} only"
        origins = headers.get(b"origin", [])
        writes = scope["method"] not in READING
        if (origins and origins != [self.origin]) or (writes and not origins):
            return 403, "refused: the request comes from another page"
        if headers.get(b"sec-fetch-site", ["none"])[0] not in {"same-origin", "none"}:
            return 403, "refused: the request comes from another page"
        if not self._has_token(headers) and not self._first_visit(scope):
            return 403, ("refused: this window does not know the session; open the address that "
                         "'lanesim page' printed")
        lengths = headers.get(b"content-length", ["0"])
        if len(lengths) > 1 or not lengths[0].isdigit():
            return 400, "refused: the request's length is not a number"
        if int(lengths[0]) > MAX_BODY:
            return 413, TOO_LARGE
        kind = headers.get(b"content-type", [""])[0].partition(";")[0].strip().lower()
        if writes and kind != "application/json":
            return 415, "refused: what is sent must be JSON"
        return 0, ""

    def _has_token(self, headers: dict[bytes, list[str]]) -> bool:
        try:
            cookies = SimpleCookie("; ".join(headers.get(b"cookie", [])))
        except CookieError:
            return False
        found = cookies.get(self.cookie)
        return found is not None and self._same(found.value)

    def _first_visit(self, scope: Scope) -> bool:
        """Whether the address itself carries the token: the window that the command opens."""
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        return (scope["path"] == "/" and scope["method"] == "GET" and len(given) == 1
                and self._same(given[0]))

    def _same(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())

    async def _welcome(self, send: Send) -> None:
        """Put the token into a cookie and out of the address."""
        cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
        await send({"type": "http.response.start", "status": 303,
                    "headers": _with_headers([(b"location", b"/"),
                                              (b"set-cookie", cookie.encode()),
                                              (b"content-length", b"0")])})
        await send({"type": "http.response.body", "body": b""})


TOO_LARGE = f"refused: more than {MAX_BODY / 1e6:g} MB"


def _limited(receive: Receive) -> Receive:
    """`receive`, until MAX_BODY bytes have come."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > MAX_BODY:
            raise TooLarge
        return message

    return counted


def _with_headers(headers: Any) -> list[tuple[bytes, bytes]]:
    """A response's headers and those that every response carries."""
    given = list(headers)
    names = {name.lower() for name, _ in given}
    if b"content-security-policy" not in names:
        given.append((b"content-security-policy", POLICY.encode()))
    return given + [h for h in HEADERS if h[0] not in names]


async def _say(send: Send, status: int, words: str) -> None:
    body = (words + "\n").encode()
    await send({"type": "http.response.start", "status": status,
                "headers": _with_headers([(b"content-type", b"text/plain; charset=utf-8"),
                                          (b"content-length", str(len(body)).encode())])})
    await send({"type": "http.response.body", "body": body})
