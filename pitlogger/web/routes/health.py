"""Health for whoever watches the node: alive or not, and figures to collect."""

from __future__ import annotations

import time

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from pitlogger import __version__
from pitlogger.reports.metrics import CONTENT_TYPE, NodeNow, alerts_now, channels_now, metrics
from pitlogger.views.node import Node
from pitlogger.views.view import View
from pitlogger.web.access.access import Access

ASK_AGAIN_S = 10.0  # an older answer of the disk is no news: it is asked to write
HUNG_S = 30.0  # a write that waits longer than this does not get through


class HealthView(View):
    """Whether the engine keeps up with its clock and the store writes; ``well`` if both."""

    well: bool
    store: bool
    engine: bool


def make_health(daemon: Node, access: Access) -> APIRouter:
    """Return the routes; ``/healthz`` needs no key, ``/metrics`` one that may look."""
    api = APIRouter()

    @api.get(
        "/healthz",
        response_model=HealthView,
        responses={503: {"model": HealthView, "description": "One of them is not"}},
        summary="Whether the engine and the store are at work",
    )
    async def healthz() -> JSONResponse:
        store, engine = writes(daemon), daemon.keeps_up()
        well = store and engine
        return JSONResponse({"well": well, "store": store, "engine": engine},
                            status_code=200 if well else 503)  # fmt: skip

    @api.get("/metrics", summary="Figures in OpenMetrics text", include_in_schema=False)
    async def openmetrics() -> Response:
        return Response(metrics(node_now(daemon, access)), headers={"Content-Type": CONTENT_TYPE})

    return api


def writes(daemon: Node) -> bool:
    """Return whether the store takes what it is given.

    Where the disk was not asked for a while, it is asked now; a disk that hangs shows at the
    next question.
    """
    if time.monotonic() - daemon.store.answered_s > ASK_AGAIN_S:
        daemon.store.beat()
    return daemon.trouble is None and daemon.store.wait_s < HUNG_S


def node_now(daemon: Node, access: Access) -> NodeNow:
    """Return what is worth watching of a node, as it stands."""
    behind_ms = daemon.clock.engine_ms() - daemon.engine.state.t_ms
    return NodeNow(
        daemon.config.node.name,
        __version__,
        daemon.run,
        writes(daemon) and daemon.keeps_up(),
        daemon.cook is not None,
        channels_now(daemon.engine, daemon.clock.engine_ms()),
        alerts_now(daemon.engine),
        daemon.engine.state.seq,
        waiting=daemon.notifier.waiting(),
        oldest_s=daemon.notifier.oldest_s(),
        behind_s=max(0, behind_ms) / 1000,
        commit_s=daemon.store.commit_s,
        unwritten_s=daemon.store.wait_s,
        held_up_s=daemon.held_up_s(),
        turned_away=sum(door.turned_away for door in access.doors),
    )
