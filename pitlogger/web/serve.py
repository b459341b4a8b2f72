"""Serving: uvicorn in the daemon's loop, on the Unix socket and on the network."""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from starlette.types import ASGIApp

from pitlogger.config import WebTable
from pitlogger.errors import TransportError
from pitlogger.views.node import Node
from pitlogger.web.access.access import Access
from pitlogger.web.access.bounded import BoundedProtocol
from pitlogger.web.access.door import LOCAL, NETWORK, Door, DoorLimits, with_room
from pitlogger.web.access.roles import Role
from pitlogger.web.app import make_apps

if TYPE_CHECKING:
    from pitlogger.web.fleet.open_hub import OpenHub


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

    Raises:
        TransportError: The socket or the port is in use.
    """
    web = daemon.config.web
    access = access or Access(daemon.config)
    if access.keys.broken:
        daemon.tell_trouble("phones", access.keys.broken, "Pair the phones again: pitlogger pair")
    async with AsyncExitStack() as stack:
        listening = stack.enter_context(tcp_socket(web.host, web.port)) if web.enabled else None
        unix = stack.enter_context(_unix_socket(daemon.socket))
        stack.callback(daemon.socket.unlink, missing_ok=True)
        address = None if listening is None else page_address(web, listening.getsockname()[1])
        hub = await _hub(daemon, access, stack) if daemon.config.hub.enabled else None
        local, network = make_apps(daemon, access, address, hub)
        await stack.enter_async_context(running(local, unix, access, LOCAL))
        if listening is not None:
            limits = with_room(NETWORK)
            tls = None
            if web.tls_cert is not None and web.tls_key is not None:
                tls = (web.tls_cert, web.tls_key)
            await stack.enter_async_context(running(network, listening, access, limits, tls))
            if web.one_time_link:
                address = f"{address}pair#{access.invite(Role.OWNER)}"
        try:
            yield address
        finally:
            daemon.stopping.set()


async def _hub(daemon: Node, access: Access, stack: AsyncExitStack) -> OpenHub:
    """Open the node's hub and the port that other nodes send to."""
    from pitlogger.web.fleet.embedded import embedded_hub
    from pitlogger.web.fleet.receiving import make_receiving

    table = daemon.config.hub
    listening = stack.enter_context(tcp_socket(table.host, table.port))
    hub = await stack.enter_async_context(embedded_hub(daemon))
    host = lan_address() or socket.gethostname()
    hub.address = f"https://{host}:{listening.getsockname()[1]}"
    tls = (hub.identity.certificate, hub.identity.key)
    await stack.enter_async_context(
        running(make_receiving(hub), listening, access, with_room(NETWORK), tls)
    )
    return hub


def page_address(web: WebTable, port: int) -> str:
    """Return the address that phones open."""
    scheme = "https" if web.tls_cert is not None else "http"
    host = web.host
    if host in ("127.0.0.1", "::1"):
        host = "localhost"
    elif host in ("0.0.0.0", "::"):  # noqa: S104
        host = lan_address() or f"{socket.gethostname().partition('.')[0]}.local"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def lan_address() -> str | None:
    """Return the address this host has towards other networks, ``None`` where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # of the block for documentation; nothing is sent
        except OSError:
            return None
        found: str = asking.getsockname()[0]
        return found


@asynccontextmanager
async def running(
    app: ASGIApp,
    listening: socket.socket,
    access: Access,
    limits: DoorLimits,
    tls: tuple[Path, Path] | None = None,
) -> AsyncIterator[None]:
    """Serve an application behind the door while the context is open."""
    config = uvicorn.Config(
        app,
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        timeout_graceful_shutdown=1,
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


def _unix_socket(path: Path) -> socket.socket:
    """Return a listening socket only its owner and group can use."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.is_socket():
        _clear_left_over(path)
    listening = socket.socket(socket.AF_UNIX)
    mask = os.umask(0o117)
    try:
        listening.bind(str(path))
    except OSError as fault:
        listening.close()
        raise TransportError(
            f"{path} cannot be made: {fault.strerror}",
            remedy="Set [node] socket to a path that may be written",
        ) from None
    finally:
        os.umask(mask)
    listening.listen(64)
    return listening


def _clear_left_over(path: Path) -> None:
    """Remove the socket of a daemon that was killed; refuse that of one that runs."""
    with socket.socket(socket.AF_UNIX) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            path.unlink()
            return
    raise TransportError(f"{path} is in use", remedy="Another daemon is running: stop it first")


def tcp_socket(host: str, port: int) -> socket.socket:
    """Return a listening socket.

    Raises:
        TransportError: The port cannot be used.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as fault:
        listening.close()
        raise TransportError(
            f"port {port} on {host} cannot be used: {fault.strerror}",
            remedy="Set [web] port to another one, or stop what uses it",
        ) from None
    listening.listen(128)
    return listening
