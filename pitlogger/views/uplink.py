"""How a node's way to its hub fares."""

from __future__ import annotations

from pitlogger.views.view import View


class UplinkStatus(View):
    """An uplink; without a hub, ``hub`` is ``None``. ``waiting``: bundles without a receipt."""

    uid: str
    hub: str | None = None
    waiting: int = 0
    last_receipt_ms: int | None = None
    refused: int = 0
    fault: str | None = None
