"""Health for whoever watches the node: alive or not, and figures to collect."""

from __future__ import annotations

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from pitlogger import __version__
from pitlogger.daemon import Daemon
from pitlogger.reports.metrics import CONTENT_TYPE, NodeNow, alerts_now, channels_now, metrics


def make_health(daemon: Daemon) -> APIRouter:
    """Return the routes; ``/healthz`` needs no key, ``/metrics`` one that may look."""
    api = APIRouter()

    @api.get("/healthz", summary="Whether the engine and the store are at work")
    async def healthz() -> JSONResponse:
        well = daemon.is_well()
        return JSONResponse({"well": well, "store": daemon.trouble is None},
                            status_code=200 if well else 503)  # fmt: skip

    @api.get("/metrics", summary="Figures in OpenMetrics text", include_in_schema=False)
    async def openmetrics() -> Response:
        now = NodeNow(
            daemon.config.node.name,
            __version__,
            daemon.run,
            daemon.is_well(),
            daemon.cook is not None,
            channels_now(daemon.engine, daemon.clock.engine_ms()),
            alerts_now(daemon.engine),
            daemon.engine.state.seq,
        )
        return Response(metrics(now), headers={"Content-Type": CONTENT_TYPE})

    return api
