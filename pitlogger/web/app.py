"""The web application of a daemon: API, page, health."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse

from pitlogger import __version__
from pitlogger.daemon import Daemon
from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.web.api import error_answer, make_api

BODY_LIMIT = 64 * 1024
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
}


def make_app(daemon: Daemon) -> FastAPI:
    """Return the application; it serves the socket of the command line and the page alike."""
    app = FastAPI(
        title="pitlogger", version=__version__,
        openapi_url="/api/v1/openapi.json", docs_url=None, redoc_url=None,
    )  # fmt: skip
    app.include_router(make_api(daemon))

    @app.exception_handler(UsageError)
    async def unusable(request: Request, fault: UsageError) -> JSONResponse:
        return error_answer(400, str(fault))

    @app.exception_handler(RefusedError)
    async def refused(request: Request, fault: RefusedError) -> JSONResponse:
        return error_answer(409, str(fault))

    @app.exception_handler(PitloggerError)
    async def failed(request: Request, fault: PitloggerError) -> JSONResponse:
        return error_answer(500, str(fault))

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, fault: RequestValidationError) -> JSONResponse:
        return error_answer(400, "; ".join(_fault(item) for item in fault.errors()[:5]))

    @app.middleware("http")
    async def bounded(
        request: Request, call_next: Callable[[Request], Awaitable[Response]]
    ) -> Response:
        length = request.headers.get("content-length", "0")
        if not length.isdigit() or int(length) > BODY_LIMIT:
            return error_answer(413, f"the body is larger than {BODY_LIMIT} octets")
        response = await call_next(request)
        response.headers.update(HEADERS)
        return response

    @app.get("/healthz", summary="Whether the engine and the store are at work")
    async def healthz() -> JSONResponse:
        well = daemon.is_well()
        return JSONResponse({"well": well, "store": daemon.trouble is None},
                            status_code=200 if well else 503)  # fmt: skip

    return app


def _fault(item: dict[str, object]) -> str:
    location = item.get("loc", ())
    parts = (
        [str(part) for part in location if part != "body"] if isinstance(location, tuple) else []
    )
    message = str(item.get("msg", "")).removeprefix("Value error, ")
    return f"{'.'.join(parts)}: {message}" if parts else message
