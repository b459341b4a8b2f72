"""The hub that a node has joined, as it stands beside the record; read at every start."""

from __future__ import annotations

import logging
from contextlib import suppress
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from pitlogger.files import set_aside
from pitlogger.uplink.offers import OFFER_FILE
from pitlogger.views.uplink import Joined

log = logging.getLogger(__name__)

JOINED_FILE, AUTHORITY_FILE = "uplink.json", "uplink-authority.pem"
CERTIFICATE_FILE = "uplink-certificate.pem"


def joined(data: Path) -> Joined | None:
    """Return the hub that the node whose data lie in a folder has joined, if any."""
    path = data / JOINED_FILE
    if not path.exists():
        return None
    try:
        return TypeAdapter(Joined).validate_json(path.read_bytes())
    except (OSError, ValidationError) as fault:
        log.error("%s cannot be read, nothing is sent to the hub: join it again (%r)", path, fault)
        with suppress(OSError):
            set_aside(path)
        return None


def leave(data: Path) -> None:
    """Forget the hub and what it offered; what it received stays there."""
    for name in (JOINED_FILE, AUTHORITY_FILE, CERTIFICATE_FILE, OFFER_FILE):
        (data / name).unlink(missing_ok=True)
