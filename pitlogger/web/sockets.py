"""The sockets that the web listens on, and the address that phones open."""

from __future__ import annotations

import os
import socket
import ssl
from pathlib import Path

from pitlogger.config import WebTable
from pitlogger.errors import TransportError
from pitlogger.service.names import lan_address


def page_address(web: WebTable, port: int) -> str:
    """Return the address that phones open."""
    scheme = "https" if web.tls_cert is not None else "http"
    host = web.host
    if host in ("127.0.0.1", "::1"):
        host = "localhost"
    elif host in ("0.0.0.0", "::"):  # noqa: S104
        host = lan_address() or f"{socket.gethostname().partition('.')[0]}.local"
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def page_socket(web: WebTable) -> socket.socket:
    """Return the socket of the page, whose certificate, if it has one, can be used.

    Raises:
        TransportError: The port or the certificate cannot be used.
    """
    if web.tls_cert is not None and web.tls_key is not None:
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(
                web.tls_cert, web.tls_key, password=lambda: ""
            )
        except (OSError, ValueError) as fault:  # a locked key among them
            raise TransportError(
                f"the certificate {web.tls_cert} with the key {web.tls_key} cannot be used:"
                f" {fault.strerror if isinstance(fault, OSError) else fault}",
                remedy="Set [web] tls_cert and tls_key to a PEM certificate and its unlocked key",
            ) from None
    return tcp_socket(web.host, web.port)


def unix_socket(path: Path) -> socket.socket:
    """Return a listening socket only its owner and group can use.

    Raises:
        TransportError: It cannot be made.
    """
    listening = socket.socket(socket.AF_UNIX)
    mask = os.umask(0o117)
    try:
        path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
        listening.bind(str(path))
    except OSError as fault:
        listening.close()
        raise TransportError(
            f"{path} cannot be made: {fault.strerror or fault}",
            remedy="Set [node] socket to a path that may be written",
        ) from None
    finally:
        os.umask(mask)
    listening.listen(64)
    return listening


def refuse_taken(path: Path) -> None:
    """Remove the socket of a daemon that was killed; refuse that of one that runs.

    Raises:
        TransportError: Another daemon listens there.
    """
    if not path.is_socket():
        return
    with socket.socket(socket.AF_UNIX) as probe:
        try:
            probe.connect(str(path))
        except OSError:
            path.unlink(missing_ok=True)
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
    except (OSError, TypeError, ValueError) as fault:  # the last two: a host that is no name
        listening.close()
        said = fault.strerror if isinstance(fault, OSError) else fault
        raise TransportError(
            f"port {port} on {host!a} cannot be used: {said}",
            remedy="Set host and port to others, or stop what uses them",
        ) from None
    listening.listen(128)
    return listening
