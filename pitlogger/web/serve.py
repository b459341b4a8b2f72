"""Serving: uvicorn in the daemon's loop, on the Unix socket and on the network."""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from pitlogger.daemon import Daemon
from pitlogger.errors import TransportError
from pitlogger.web.app import make_app


class _Server(uvicorn.Server):
    """uvicorn without its own signal handlers: the daemon's owner decides when to stop."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


@asynccontextmanager
async def serving(daemon: Daemon) -> AsyncIterator[str | None]:
    """Serve the daemon while the context is open; yield the page's address, if it has one."""
    app = make_app(daemon)
    async with AsyncExitStack() as stack:
        await stack.enter_async_context(_running(app, _unix_socket(daemon.socket)))
        stack.callback(daemon.socket.unlink, missing_ok=True)
        address = None
        web = daemon.config.web
        if web.enabled:
            listening = _tcp_socket(web.host, web.port)
            port = listening.getsockname()[1]
            host = "localhost" if web.host in ("0.0.0.0", "127.0.0.1", "::") else web.host  # noqa: S104
            address = f"http://{host}:{port}/"
            await stack.enter_async_context(_running(app, listening))
        try:
            yield address
        finally:
            daemon.stopping.set()


@asynccontextmanager
async def _running(app: FastAPI, listening: socket.socket) -> AsyncIterator[None]:
    config = uvicorn.Config(
        app,
        http="h11",
        ws="none",
        lifespan="off",
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=1,
        server_header=False,
    )
    server = _Server(config)
    task = asyncio.create_task(server.serve(sockets=[listening]), name="serve")
    try:
        yield
    finally:
        server.should_exit = True
        await task
        listening.close()


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


def _tcp_socket(host: str, port: int) -> socket.socket:
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
