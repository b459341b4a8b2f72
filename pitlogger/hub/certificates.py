"""Certificates of nodes: for their own keys, 90 days, renewed over the link in the last 30."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from pitlogger.clock import ms_of
from pitlogger.hub.authority import CERTIFICATE_DAYS, RENEW_DAYS, node_certificate
from pitlogger.hub.database import Database
from pitlogger.hub.receive import NodeRow

_DAY_MS = 86_400_000


def certify(database: Database, folder: Path, node: NodeRow, now: datetime) -> str:
    """Return a new certificate of a node and note until when it is good.

    Raises:
        OSError: The authority's files are not there.
    """
    pem = node_certificate(folder, node.uid, node.public_key, now)
    until_ms = ms_of(now) + CERTIFICATE_DAYS * _DAY_MS
    with database.transaction():
        database.run("UPDATE node SET cert_until_ms = ? WHERE id = ?", (until_ms, node.id))
    return pem


def certifier(
    database: Database, folder: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> Callable[[NodeRow], str | None]:
    """Return what gives a node a new certificate once its own ends soon."""

    def renewed(node: NodeRow) -> str | None:
        left_ms = (node.cert_until_ms or 0) - now().timestamp() * 1000
        due = node.cert_until_ms is not None and left_ms < RENEW_DAYS * _DAY_MS
        return certify(database, folder, node, now()) if due else None

    return renewed
