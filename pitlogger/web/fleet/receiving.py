"""Where nodes send to: HTTPS on a port of its own, with the hub's own certificate.

    GET  /fleet/1/authority     the certificate that nodes pin
    POST /fleet/1/join          a signed request with a code
    POST /fleet/1/NODE/certificate   a signed request for a new certificate
    POST /fleet/1/NODE/up       a signed bundle; the answer is its receipt
    GET  /healthz

What is not signed by an enrolled node changes nothing. Nothing of the records can be read here.
"""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from pitlogger.errors import BundleError, HubFullError, RefusedError
from pitlogger.formats.bundle import MOST_BYTES
from pitlogger.hub.receive import ROOM_FOR_SIGNATURE, NotEnrolledError
from pitlogger.uplink.carrier import written
from pitlogger.web.fleet.open_hub import OpenHub

MOST = MOST_BYTES + ROOM_FOR_SIGNATURE
BUSY = {"retry-after": "20"}


def make_receiving(hub: OpenHub) -> Starlette:
    """Return the application that takes the records of nodes."""

    async def authority(request: Request) -> Response:
        return Response(hub.identity.authority, media_type="application/x-pem-file")

    async def health(request: Request) -> Response:
        return PlainTextResponse("full" if hub.ingest.is_full else "ok")

    async def join(request: Request) -> Response:
        body = await _body(request, 4096)
        if body is None:
            return _error(413, "a request to join has 4096 bytes at most")
        try:
            return JSONResponse(await hub.take_in(body))
        except RefusedError as fault:
            return _error(403, str(fault))

    async def certificate(request: Request) -> Response:
        body = await _body(request, 4096)
        if body is None:
            return _error(413, "such a request has 4096 bytes at most")
        try:
            return JSONResponse({"certificate": await hub.renew(request.path_params["uid"], body)})
        except BundleError as fault:
            return _error(403, str(fault))

    async def up(request: Request) -> Response:
        if hub.ingest.is_full:
            return _error(503, "too much waits to be written", BUSY)
        body = await _body(request, MOST)
        if body is None:
            return _error(413, f"a bundle has {MOST} bytes at most")
        try:
            answer = await hub.ingest.submit(request.path_params["uid"], body)
        except NotEnrolledError as fault:
            return _error(403, str(fault))
        return Response(written(answer), media_type="application/json")

    return Starlette(routes=[
        Route("/fleet/1/authority", authority),
        Route("/fleet/1/join", join, methods=["POST"]),
        Route("/fleet/1/{uid}/certificate", certificate, methods=["POST"]),
        Route("/fleet/1/{uid}/up", up, methods=["POST"]),
        Route("/healthz", health),
    ], exception_handlers={HubFullError: _later})  # fmt: skip


async def _later(request: Request, fault: Exception) -> Response:
    """Let a node send again: its own file is the queue."""
    return _error(503, str(fault), BUSY)


async def _body(request: Request, most: int) -> bytes | None:
    """Return a body, ``None`` as soon as it is longer than allowed."""
    parts, length = [], 0
    async for part in request.stream():
        length += len(part)
        if length > most:
            return None
        parts.append(part)
    return b"".join(parts)


def _error(status: int, message: str, headers: dict[str, str] | None = None) -> Response:
    return JSONResponse({"error": message}, status, headers)
