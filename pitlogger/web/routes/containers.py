"""The API of the list of containers."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter

from pitlogger.clock import rfc3339
from pitlogger.node.containers import Kept, containers, keep, remove
from pitlogger.views.node import Node
from pitlogger.views.view import Moment, View
from pitlogger.web.access.roles import who_asks
from pitlogger.web.bodies import container_mg
from pitlogger.web.requests import ContainerAsk, ContainerRemoveAsk


class ContainerView(View):
    """A pan, tray or board; one taken off the list has no mass."""

    container: str
    tare_g: float | None
    by: str
    at: Moment


def make_container_api(daemon: Node) -> APIRouter:
    """Return the routes, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/containers", summary="Pans, trays and boards whose mass is known")
    async def listed() -> list[ContainerView]:
        return [container_view(one) for one in containers(daemon).values()]

    @api.post("/containers", summary="Put a container on the list: typed, or weighed empty")
    async def put(ask: ContainerAsk) -> ContainerView:
        return container_view(await kept(daemon, ask))

    @api.post("/containers/{name}/remove", summary="Take a container off the list")
    async def take_off(name: str, ask: ContainerRemoveAsk) -> ContainerView:
        by = ask.by or who_asks.get().initials
        return container_view(await asyncio.to_thread(remove, daemon, name, by))

    return api


async def kept(daemon: Node, ask: ContainerAsk) -> Kept:
    """Put a container on the list and return it once it is on disk."""
    tare_mg = container_mg(daemon.engine, ask)
    by = ask.by or who_asks.get().initials
    return await asyncio.to_thread(keep, daemon, ask.name.strip(), tare_mg, by)


def container_view(one: Kept) -> ContainerView:
    """Return a container as the API shows it."""
    return ContainerView(
        container=one.name,
        tare_g=None if one.tare_mg is None else one.tare_mg / 1000,
        by=one.by,
        at=rfc3339(one.at_ms),
    )
