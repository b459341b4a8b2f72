"""Serving: uvicorn in the daemon's loop, on the Unix socket and on the network."""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import (
    AbstractAsyncContextManager,
    AsyncExitStack,
    asynccontextmanager,
    contextmanager,
    suppress,
)
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import uvicorn
from starlette.types import ASGIApp

from pitlogger.errors import TransportError
from pitlogger.service.names import lan_address
from pitlogger.store.rows import Trouble
from pitlogger.views.node import Node
from pitlogger.web.access.access import Access
from pitlogger.web.access.bounded import BoundedProtocol
from pitlogger.web.access.door import LOCAL, NETWORK, Door, DoorLimits, with_room
from pitlogger.web.access.roles import Role
from pitlogger.web.app import make_apps
from pitlogger.web.sockets import (
    page_address,
    page_socket,
    refuse_taken,
    tcp_socket,
    unix_socket,
)

if TYPE_CHECKING:
    from pitlogger.web.fleet.open_hub import OpenHub

log = logging.getLogger(__name__)
KEPT_S, NODE_KEPT_S = 5, 110  # an idle connection of a phone; of a node, which sends each minute
AGAIN_S = 10.0  # until a way in that could not be opened is tried again


class _Server(uvicorn.Server):
    """uvicorn behind our door and without its own signal handlers.

    The daemon's owner decides when to stop; the door decides who is let in.
    """

    def __init__(
        self, config: uvicorn.Config, listening: socket.socket, limits: DoorLimits, access: Access
    ) -> None:
        super().__init__(config)
        self._listening = listening
        self._limits = limits
        self._access = access

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        door: Door

        def seat() -> asyncio.Protocol:
            return BoundedProtocol(
                self.config, self.server_state, {}, door=door, limits=self._limits
            )

        door = Door(self._listening, self._limits, self.config.ssl, seat)
        self._access.doors.append(door)
        self.servers = [door]  # type: ignore[list-item]  # closed and waited for like a server
        self.started = True


@asynccontextmanager
async def serving(daemon: Node, access: Access | None = None) -> AsyncIterator[str | None]:
    """Serve the daemon while the context is open; yield the page's address, if it has one.

    With ``[web] one_time_link`` the address holds a code that pairs one browser as owner.

    Args:
        access: Who may do what; made from the configuration if it is not given.

    What cannot be opened is reported and tried again: alarms never wait for it.

    Raises:
        TransportError: Another daemon listens on the socket.
    """
    web = daemon.config.web
    refuse_taken(daemon.socket)
    access = access or Access(daemon.config)
    if access.keys.broken:
        daemon.tell_trouble("phones", access.keys.broken, "Pair the phones again: pitlogger pair")
    async with AsyncExitStack() as stack:
        inside = _opened(daemon, "local-socket", partial(unix_socket, daemon.socket))
        outside = _opened(daemon, "page-port", partial(page_socket, web)) if web.enabled else None
        port = web.port if outside is None else outside.getsockname()[1]
        address = page_address(web, port) if web.enabled else None
        hub = await _hub(daemon, access, stack) if daemon.config.hub.enabled else None
        local, network = make_apps(daemon, access, address, hub)
        opens = partial(unix_socket, daemon.socket)
        serve = partial(_serving_local, daemon.socket, local, access)
        local_way = WayIn("local-socket", opens, serve)
        if inside is not None:
            await _enter(stack, daemon, local_way, inside)
        kept = asyncio.create_task(_keep_local(daemon, local_way), name="local-socket-kept")
        stack.push_async_callback(asyncio.wait, [kept])
        if web.enabled:
            tls = None
            if web.tls_cert is not None and web.tls_key is not None:
                tls = (web.tls_cert, web.tls_key)
            serve = partial(running, network, access=access, limits=with_room(NETWORK), tls=tls)
            await _enter(
                stack, daemon, WayIn("page-port", partial(page_socket, web), serve), outside
            )
            if web.one_time_link:
                address = f"{address}pair#{access.invite(Role.OWNER)}"
        try:
            yield None if outside is None else address
        finally:
            daemon.stopping.set()


class WayIn(NamedTuple):
    """A socket that people or programs come in by, and how it is served."""

    name: str
    opens: Callable[[], socket.socket]
    serve: Callable[[socket.socket], AbstractAsyncContextManager[None]]


def _opened(daemon: Node, name: str, opens: Callable[[], socket.socket]) -> socket.socket | None:
    """Return the socket of a way in; one that cannot be opened is reported, and ``None``."""
    try:
        return opens()
    except TransportError as fault:
        log.error("%s; it is tried again, and alarms go on", fault)
        daemon.tell_closed(name, Trouble(fault.message, fault.remedy))
        return None


async def _enter(
    stack: AsyncExitStack, daemon: Node, way: WayIn, listening: socket.socket | None
) -> None:
    """Serve a way in for as long as the stack is open, at once or once it can be opened."""
    if listening is not None:
        stack.enter_context(listening)
        await stack.enter_async_context(way.serve(listening))
        return
    later = asyncio.create_task(_serve_later(daemon, way), name=f"{way.name}-later")
    stack.push_async_callback(asyncio.wait, [later])


async def _stops_within(daemon: Node, seconds: float) -> bool:
    with suppress(TimeoutError):
        await asyncio.wait_for(daemon.stopping.wait(), seconds)
    return daemon.stopping.is_set()


async def _keep_local(daemon: Node, way: WayIn) -> None:
    """Serve the local socket anew whenever its file is gone, as after a cleaning of old files."""
    async with AsyncExitStack() as stack:
        while not await _stops_within(daemon, AGAIN_S):
            if daemon.socket.is_socket():
                continue
            with suppress(TransportError):
                listening = stack.enter_context(way.opens())
                log.warning("there was no socket at %s: it is made anew", daemon.socket)
                daemon.tell_closed(way.name, None)
                await stack.enter_async_context(way.serve(listening))


async def _serve_later(daemon: Node, way: WayIn) -> None:
    while not await _stops_within(daemon, AGAIN_S):
        with suppress(TransportError), way.opens() as listening:
            daemon.tell_closed(way.name, None)
            async with way.serve(listening):
                await daemon.stopping.wait()
            return


@asynccontextmanager
async def _serving_local(
    path: Path, app: ASGIApp, access: Access, listening: socket.socket
) -> AsyncIterator[None]:
    async with AsyncExitStack() as stack:
        stack.callback(path.unlink, missing_ok=True)
        await stack.enter_async_context(running(app, listening, access, LOCAL))
        yield


async def _hub(daemon: Node, access: Access, stack: AsyncExitStack) -> OpenHub | None:
    """Open the node's hub and the port that other nodes send to, if it can be opened."""
    from pitlogger.formats.join_code import authority_letters
    from pitlogger.uplink.discovery import announced
    from pitlogger.web.fleet.embedded import embedded_hub
    from pitlogger.web.fleet.receiving import make_receiving

    table = daemon.config.hub
    listening = _opened(daemon, "hub-port", partial(tcp_socket, table.host, table.port))
    if listening is None:
        return None
    stack.enter_context(listening)
    hub = await stack.enter_async_context(embedded_hub(daemon))
    anywhere = table.host in ("0.0.0.0", "::", "")  # noqa: S104
    host = (lan_address() or socket.gethostname()) if anywhere else table.host
    host = f"[{host}]" if ":" in host else host
    hub.address = f"https://{host}:{listening.getsockname()[1]}"
    tls = (hub.identity.certificate, hub.identity.key)
    await stack.enter_async_context(
        running(make_receiving(hub), listening, access, with_room(NETWORK), tls, NODE_KEPT_S)
    )
    if anywhere:
        letters = authority_letters(hub.identity.authority)
        name = daemon.config.node.name
        await stack.enter_async_context(announced(hub.address, name, letters))
    return hub


@asynccontextmanager
async def running(
    app: ASGIApp,
    listening: socket.socket,
    access: Access,
    limits: DoorLimits,
    tls: tuple[Path, Path] | None = None,
    kept_s: int = KEPT_S,
) -> AsyncIterator[None]:
    """Serve an application behind the door while the context is open.

    Args:
        kept_s: How long a connection may be idle after an answer, seconds.
    """
    config = uvicorn.Config(
        app,
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        timeout_graceful_shutdown=1,
        timeout_keep_alive=kept_s,
        server_header=False,
        h11_max_incomplete_event_size=limits.head_bytes,
        ssl_certfile=None if tls is None else tls[0],
        ssl_keyfile=None if tls is None else tls[1],
    )
    server = _Server(config, listening, limits, access)
    task = asyncio.create_task(server.serve(sockets=[listening]), name="serve")
    try:
        yield
    finally:
        server.should_exit = True
        await task
