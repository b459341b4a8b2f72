"""The gate: every request passes it before anything else sees it.

Order: size, Host, role, rate, Origin and content type, then the body, counted as it comes.
What does not pass is answered here and nothing is written.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pitlogger.formats.json_text import holds_half_a_character
from pitlogger.views.language import decimal_of, locale_of, readers_decimal, readers_locale
from pitlogger.web.access.access import (
    COOKIE_PLAIN,
    COOKIE_TLS,
    MOST_STREAMS,
    STREAMS_EACH,
    Access,
)
from pitlogger.web.access.door import origin_of
from pitlogger.web.access.hosts import is_own
from pitlogger.web.access.roles import NOBODY, SAFE, SOCKET, Role, Who, needed, who_asks

BODY_LIMIT = 64 * 1024
BODY_S = 10.0
HEAD_LIMIT = 16 * 1024
CLOSE = {"Connection": "close"}
SHEET, SHEET_LIMIT = "/import", 4 * 1024 * 1024  # a spreadsheet, from whoever may import one
LOCAL_BODY_LIMIT = 16 * 1024 * 1024  # a paper log of many years comes by the Unix socket
STREAM = "/api/v1/stream"
FORM = "application/x-www-form-urlencoded"
POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not no-referrer: browsers then send "Origin: null" with a plain form, and ours need it.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Gate:
    """Wraps the application; ``trusted`` for the Unix socket, whose file is its lock."""

    def __init__(self, app: ASGIApp, access: Access, *, trusted: bool) -> None:
        self._app = app
        self._access = access
        self._trusted = trusted
        self._limit = LOCAL_BODY_LIMIT if trusted else BODY_LIMIT

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        who = SOCKET if self._trusted else self._who(scope, headers)
        most = self._most(scope, who)
        turned = badly_framed(scope, headers, most)
        if turned is None and not self._trusted:
            turned = self._turned(scope, headers, who)
        body = b""
        if turned is None and scope["method"] not in SAFE:
            body, turned = await read_body(receive, most, BODY_S)
            if turned is None and holds_half_a_character(body):
                turned = refusal(400, "the body holds half a character (a lone surrogate)")
        sending = _with_headers(send)
        if turned is not None:
            await self._slowed(scope, turned)(scope, receive, sending)
            return
        await self._pass(scope, _given(body, receive), sending, who)

    def _most(self, scope: Scope, who: Who) -> int:
        """Return how many bytes a body may have."""
        role = needed("POST", SHEET)
        if self._trusted or scope["path"] != SHEET or who.role is None or role is None:
            return self._limit
        return SHEET_LIMIT if who.role >= role else self._limit

    async def _pass(self, scope: Scope, receive: Receive, send: Send, who: Who) -> None:
        asker = _asker(scope, who)
        is_stream = scope["path"] == STREAM
        self._access.streams[asker] += is_stream
        token = who_asks.set(who)
        languages = Headers(scope=scope).get("accept-language", "")[:99]
        mark = readers_decimal.set(decimal_of(languages))
        dates = readers_locale.set(locale_of(languages))
        try:
            await self._app(scope, receive, send)
        finally:
            who_asks.reset(token)
            readers_decimal.reset(mark)
            readers_locale.reset(dates)
            self._access.streams[asker] -= is_stream
            self._access.streams += Counter()  # forgets who has none open

    def _slowed(self, scope: Scope, turned: Response) -> Response:
        """Return a refusal, or a shorter one to who is refused again and again."""
        if self._trusted or turned.status_code == 429:
            return turned
        if self._access.refusals.allows(_origin(scope), time.monotonic()):
            return turned
        return too_many("refused too often: wait", 10)

    def _who(self, scope: Scope, headers: Headers) -> Who:
        return self._access.who(bearer(headers) or cookie_key(scope, headers))

    def _turned(self, scope: Scope, headers: Headers, who: Who) -> Response | None:
        """Return the answer to a request that may not pass, ``None`` for one that may."""
        method, path = scope["method"], scope["path"]
        server = scope.get("server")
        if not is_own(headers.get("host", ""), server[0] if server else None, self._access.names):
            return refusal(421, "this name is not one of the node's: add it to [web] names")
        may = self._may(method, path, who)
        if may is not None:
            return may if wants_json(path, headers) else _to_pairing(may)
        rates = self._access.reads if method in SAFE else self._access.writes
        if path == "/pair" and method not in SAFE:
            rates = self._access.pairings
        asker = _asker(scope, who)
        if not rates.allows(asker, time.monotonic()):
            wait_s = 5 if rates is self._access.pairings else 1
            return too_many(f"too many requests: wait {wait_s} s", wait_s)
        if path == STREAM and (
            self._access.streams.total() >= MOST_STREAMS
            or self._access.streams[asker] >= STREAMS_EACH
        ):
            return refusal(503, "too many screens are open: close one", CLOSE)
        return None if method in SAFE else _forged(scope, headers)

    def _may(self, method: str, path: str, who: Who) -> Response | None:
        role = needed(method, path)
        if role is None or (who.role is not None and who.role >= role):
            return None
        if who is NOBODY or who.role is None:
            if self._access.web.open_read and role is Role.LOOK:
                return None
            return refusal(
                401, "this phone is not paired: open /pair and enter the code shown by the node",
                {"WWW-Authenticate": "Bearer"},
            )  # fmt: skip
        return refusal(403, f"this needs the role '{role.label}', yours is '{who.role.label}'")


def bearer(headers: Headers) -> str:
    """Return the key of a program, empty if there is none."""
    kind, _, key = headers.get("authorization", "").partition(" ")
    return key.strip() if kind.casefold() == "bearer" else ""


def cookie_name(scope: Scope) -> str:
    """Return the name of our cookie on this kind of connection."""
    return COOKIE_TLS if scope.get("scheme") == "https" else COOKIE_PLAIN


def cookie_key(scope: Scope, headers: Headers) -> str:
    """Return the key of a phone, empty if there is none."""
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(cookie_name(scope))
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


def refusal(status: int, message: str, headers: dict[str, str] | None = None) -> Response:
    """Return an error as the API gives it."""
    return JSONResponse({"error": message}, status, headers)


def too_many(message: str, wait_s: int) -> Response:
    """Return the answer to who asks too often; the connection ends with it."""
    return refusal(429, message, {"Retry-After": str(wait_s), **CLOSE})


def badly_framed(scope: Scope, headers: Headers, most: int) -> Response | None:
    """Return the answer to a body of two sizes, of none, too large, or where none belongs.

    Source: RFC 9112, 6.3: a message with both Content-Length and Transfer-Encoding ought to be
    handled as an error.
    """
    if sum(len(name) + len(value) for name, value in headers.raw) > HEAD_LIMIT:
        return refusal(431, f"the head is larger than {HEAD_LIMIT} bytes", CLOSE)
    lengths = headers.getlist("content-length")
    is_chunked = "transfer-encoding" in headers
    if len(lengths) > 1 or (lengths and is_chunked):
        return refusal(400, "the body has more than one length", CLOSE)
    if scope["method"] in SAFE:
        if is_chunked or (lengths and lengths[0] != "0"):
            return refusal(400, f"{scope['method']} takes no body", CLOSE)
        return None
    if is_chunked:
        return refusal(411, "say how long the body is (Content-Length)", CLOSE)
    if lengths and (len(lengths[0]) > 12 or not lengths[0].isdecimal() or int(lengths[0]) > most):
        return refusal(413, f"the body is larger than {most} bytes", CLOSE)
    return None


async def read_body(receive: Receive, most: int, within_s: float) -> tuple[bytes, Response | None]:
    """Return a request's body, counted as it comes, or the answer to one that is no good.

    Args:
        most: Bytes.
        within_s: Until it has to be whole.
    """
    parts: list[bytes] = []
    held = 0
    try:
        async with asyncio.timeout(within_s):
            while True:
                message = await receive()
                if message["type"] != "http.request":
                    return b"", refusal(400, "the body ended early", CLOSE)
                parts.append(message.get("body", b""))
                held += len(parts[-1])
                if held > most:
                    return b"", refusal(413, f"the body is larger than {most} bytes", CLOSE)
                if not message.get("more_body", False):
                    return b"".join(parts), None
    except TimeoutError:
        return b"", refusal(408, f"the body did not come within {within_s:.0f} s", CLOSE)


def _given(body: bytes, receive: Receive) -> Receive:
    """Return what gives the application a body that was read already."""
    waiting = [body]

    async def giving() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return giving


def _origin(scope: Scope) -> str:
    return origin_of(scope.get("client")) or "?"


def _asker(scope: Scope, who: Who) -> str:
    return who.id or _origin(scope)


def _forged(scope: Scope, headers: Headers) -> Response | None:
    """Return the answer to a write that did not come from our own page or from a program."""
    path = scope["path"]
    kind = headers.get("content-type", "").partition(";")[0].strip().casefold()
    wanted = "application/json" if path.startswith("/api/") else FORM
    if kind != wanted:
        return refusal(415, f"expected a body of type {wanted}")
    if bearer(headers):
        return None
    own = f"{scope.get('scheme', 'http')}://{headers.get('host', '')}"
    if headers.get("origin", "") != own:
        return refusal(403, f"this did not come from the page itself (Origin is not {own})")
    if headers.get("sec-fetch-site", "same-origin") != "same-origin":
        return refusal(403, "this did not come from the page itself (Sec-Fetch-Site)")
    return None


def wants_json(path: str, headers: Headers) -> bool:
    """Return whether who asks is a program, and no person with a screen."""
    return path.startswith(("/api/", "/metrics")) or "text/html" not in headers.get("accept", "")


def _to_pairing(refused: Response) -> Response:
    """Return the way to the pairing screen instead of a bare refusal."""
    return RedirectResponse("/pair", 303) if refused.status_code == 401 else refused


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers: Any = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
