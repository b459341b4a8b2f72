"""How a node's way to its hub fares."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.views.view import View


@dataclass(frozen=True, slots=True)
class Joined:
    """The hub that a node has joined."""

    address: str
    hub: str
    tenant: str
    site: str
    broker: str = ""  # where bundles go by MQTT; empty: they go to ``address`` by HTTPS


class UplinkStatus(View):
    """An uplink; without a hub, ``hub`` is ``None``.

    ``waiting``: bundles without a receipt. ``contradicted``: records that the hub has otherwise.
    ``offered``: cuts for which the firm offers a prior that nobody has taken or declined yet.
    """

    uid: str
    hub: str | None = None
    waiting: int = 0
    last_receipt_ms: int | None = None
    refused: int = 0
    contradicted: int = 0
    fault: str | None = None
    offered: int = 0
