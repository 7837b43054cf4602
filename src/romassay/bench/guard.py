"""Who may speak to the bench, and how much: checked before anything else sees a request.

The page is for one person on one machine. A page from elsewhere in the same browser must not reach it, whatever name it
gives the machine (a rebound name), and nothing that a log holds may run.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "romassay-bench"
LARGEST_BODY = 128 << 20
"""Bytes of one request: several logs, as text in base 64."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)
_SAFE = ("GET", "HEAD")


@dataclass(frozen=True, slots=True)
class Guard:
    """An ASGI application before another one.

    Attributes:
        app: what is guarded.
        hosts: names, with port, by which the bench may be called.
        token: what a browser must show, in the address at first and by a cookie then; None on the loopback.
        largest: bytes that a request may bring.
    """

    app: App
    hosts: frozenset[str]
    token: str | None = None
    largest: int = LARGEST_BODY

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = _headers(scope)
        refusal = self._refusal(scope, headers)
        if refusal:
            await _refuse(send, *refusal)
            return
        bearer = self.token if self.token and _given(scope) else None
        await self.app(scope, _bounded(receive, self.largest), _with_headers(send, bearer))

    def _refusal(self, scope: Scope, headers: dict[bytes, bytes]) -> tuple[int, str] | None:
        """Return the status and words with which a request is refused, or None."""
        host = headers.get(b"host", b"").decode("latin-1").lower()
        if host not in self.hosts:
            return 421, "the bench is not known by this name"
        origin = headers.get(b"origin", b"").decode("latin-1").lower()
        foreign = bool(origin) and origin.partition("://")[2] not in self.hosts
        site = headers.get(b"sec-fetch-site", b"same-origin")
        if scope["method"] not in _SAFE and (foreign or not origin or site not in (b"same-origin", b"none")):
            return 403, "this request does not come from the bench's own page"
        if foreign or (site == b"cross-site" and scope["path"] != "/"):
            return 403, "this request does not come from the bench's own page"
        if self.token is not None and not self._shows_token(scope, headers):
            return 401, "open the bench by the address that 'romassay bench' printed"
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or int(length) > self.largest:
            return 413, f"more than {self.largest >> 20} MiB at once; send fewer files"
        return None

    def _shows_token(self, scope: Scope, headers: dict[bytes, bytes]) -> bool:
        cookies = SimpleCookie()
        try:
            cookies.load(headers.get(b"cookie", b"").decode("latin-1"))
        except CookieError:
            return False
        shown: str = cookies[COOKIE].value if COOKIE in cookies else _given(scope)
        return hmac.compare_digest(shown.encode(), (self.token or "").encode())


def _headers(scope: Scope) -> dict[bytes, bytes]:
    return dict(reversed([(name.lower(), value) for name, value in scope["headers"]]))


def _given(scope: Scope) -> str:
    """Return the token in the address, or nothing."""
    values = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])
    return str(values[0])


class TooMuchError(Exception):
    """A request brought more than it may."""


def _bounded(receive: Receive, largest: int) -> Receive:
    """Count what comes in, as a length that was announced may be a lie."""
    total = 0

    async def counted() -> Message:
        nonlocal total
        message = await receive()
        total += len(message.get("body", b""))
        if total > largest:
            raise TooMuchError
        return message

    return counted


def _with_headers(send: Send, token: str | None) -> Send:
    extra = list(HEADERS)
    if token:
        extra.append((b"set-cookie", f"{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/".encode()))

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            names = {name for name, _ in extra}
            kept = [(name, value) for name, value in message.get("headers", []) if name.lower() not in names]
            message = {**message, "headers": [*kept, *extra]}
        await send(message)

    return sent


async def _refuse(send: Send, status: int, words: str) -> None:
    body = words.encode() + b"\n"
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
