"""The gate: every request passes it before anything else sees it.

Order: Host, size, who, role, rate, Origin and content type. What does not pass is answered
here and nothing is written.
"""

from __future__ import annotations

import time
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pitlogger.web.access.access import COOKIE_PLAIN, COOKIE_TLS, MOST_STREAMS, Access
from pitlogger.web.access.hosts import is_own
from pitlogger.web.access.roles import NOBODY, SAFE, SOCKET, Role, Who, needed, who_asks

BODY_LIMIT = 64 * 1024
LOCAL_BODY_LIMIT = 16 * 1024 * 1024  # a paper log of many years comes by the Unix socket
STREAM = "/api/v1/stream"
FORM = "application/x-www-form-urlencoded"
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
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

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        who = SOCKET if self._trusted else self._who(scope, headers)
        turned = too_large(scope, headers, LOCAL_BODY_LIMIT if self._trusted else BODY_LIMIT)
        if turned is None and not self._trusted:
            turned = self._turned(scope, headers, who)
        sending = _with_headers(send)
        if turned is not None:
            await turned(scope, receive, sending)
            return
        is_stream = scope["path"] == STREAM
        self._access.streams += is_stream
        token = who_asks.set(who)
        try:
            await self._app(scope, receive, sending)
        finally:
            who_asks.reset(token)
            self._access.streams -= is_stream

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
        client = scope.get("client")
        asker = who.id or (client[0] if client else "?")
        if not rates.allows(asker, time.monotonic()):
            return refusal(429, "too many requests: wait a second", {"Retry-After": "1"})
        if path == STREAM and self._access.streams >= MOST_STREAMS:
            return refusal(503, f"{MOST_STREAMS} screens are open: close one")
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
    """Return an error as the API tells it."""
    return JSONResponse({"error": message}, status, headers)


def too_large(scope: Scope, headers: Headers, most: int) -> Response | None:
    """Return the answer to a body that is too large, or of a size not told."""
    length = headers.get("content-length")
    if length is None:
        if "transfer-encoding" in headers and scope["method"] not in SAFE:
            return refusal(411, "say how long the body is (Content-Length)")
        return None
    if not length.isdecimal() or int(length) > most:
        return refusal(413, f"the body is larger than {most} octets")
    return None


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
