"""The web application of a daemon: API, page, access, health."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp

from pitlogger import __version__
from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.questions import QuestionError
from pitlogger.views.node import Node
from pitlogger.web.access.access import Access
from pitlogger.web.access.gate import Gate, wants_json
from pitlogger.web.access.routes import make_access_api
from pitlogger.web.fleet.api import make_fleet_api
from pitlogger.web.fleet.uplink_page import make_uplink_page
from pitlogger.web.overnight.night import make_night_api
from pitlogger.web.page.forms import fault_text
from pitlogger.web.page.routes import make_page
from pitlogger.web.page.setup.pairing import make_pairing
from pitlogger.web.page.view import refused
from pitlogger.web.routes.containers import make_container_api
from pitlogger.web.routes.devices import make_device_api
from pitlogger.web.routes.error_answers import (
    describe,
    error_answer,
    question_answer,
    status_of,
)
from pitlogger.web.routes.food_log import make_log_api
from pitlogger.web.routes.forecasts import make_forecast_api
from pitlogger.web.routes.health import make_health
from pitlogger.web.routes.imports import make_import_api
from pitlogger.web.routes.jobs import make_job_api
from pitlogger.web.routes.meals import make_meal_api
from pitlogger.web.routes.reading import make_api
from pitlogger.web.routes.ring_test import RingTest
from pitlogger.web.routes.tags import make_tags_api
from pitlogger.web.signers import Signers

if TYPE_CHECKING:
    from pitlogger.web.fleet.open_hub import OpenHub

PACK_FROM = 1000  # bytes; below, packing costs more than it saves


def make_apps(
    daemon: Node, access: Access, page: str | None = None, hub: OpenHub | None = None
) -> tuple[ASGIApp, ASGIApp]:
    """Return the application as the Unix socket serves it and as the network does.

    Args:
        page: The address phones open, for links; ``None`` without a page.
        hub: The hub inside this node, where it is one.
    """
    app = make_app(daemon, access, page, hub)
    local = Gate(app, access, trusted=True)
    network = GZipMiddleware(Gate(app, access, trusted=False), PACK_FROM, compresslevel=7)
    return local, network


def make_app(
    daemon: Node, access: Access, page: str | None = None, hub: OpenHub | None = None
) -> FastAPI:
    """Return the routes of both, without the gate."""
    app = FastAPI(
        title="pitlogger", version=__version__,
        openapi_url="/api/v1/openapi.json", docs_url=None, redoc_url=None,
    )  # fmt: skip
    ring, signers = RingTest(daemon), Signers(daemon)
    app.include_router(make_api(daemon))
    app.include_router(make_container_api(daemon))
    app.include_router(make_tags_api(daemon))
    app.include_router(make_device_api(daemon))
    app.include_router(make_log_api(daemon, signers))
    app.include_router(make_import_api(daemon))
    app.include_router(make_forecast_api(daemon))
    app.include_router(make_job_api(daemon))
    app.include_router(make_meal_api(daemon))
    app.include_router(make_fleet_api(daemon, hub))
    app.include_router(make_night_api(daemon, ring))
    app.include_router(make_access_api(access, page))
    app.include_router(make_pairing(access, daemon.config.node.name))
    app.include_router(make_health(daemon, access))
    app.include_router(make_page(daemon, access, ring, signers))
    app.include_router(make_uplink_page(daemon, hub))
    if hub is not None:
        from pitlogger.web.fleet.firm_page import make_node_page

        app.include_router(make_node_page(hub))
    _add_faults(app, daemon)
    app.openapi = partial(describe, app)  # type: ignore[method-assign]

    return app


def _add_faults(app: FastAPI, daemon: Node) -> None:
    """Answer faults in words: to a person with a screen, to a program with JSON."""

    def told(request: Request, status: int, message: str) -> Response:
        if wants_json(request.url.path, request.headers):
            return error_answer(status, message)
        return refused(daemon, request, message, "/", status)

    @app.exception_handler(UsageError)
    async def unusable(request: Request, fault: UsageError) -> Response:
        return told(request, 400, str(fault))

    @app.exception_handler(QuestionError)
    async def asked(request: Request, fault: QuestionError) -> Response:
        return question_answer(fault)

    @app.exception_handler(RefusedError)
    async def not_now(request: Request, fault: RefusedError) -> Response:
        return told(request, 409, str(fault))

    @app.exception_handler(HTTPException)
    async def not_there(request: Request, fault: HTTPException) -> Response:
        return told(request, fault.status_code, str(fault.detail))

    @app.exception_handler(PitloggerError)
    async def failed(request: Request, fault: PitloggerError) -> Response:
        return told(request, status_of(fault), str(fault))

    @app.exception_handler(Exception)
    async def broke(request: Request, fault: Exception) -> Response:
        return told(request, 500, "it failed, and the log says why; logging and alarms go on")

    @app.exception_handler(RequestValidationError)
    async def invalid(request: Request, fault: RequestValidationError) -> Response:
        return told(request, 400, "; ".join(fault_text(item) for item in fault.errors()[:5]))
