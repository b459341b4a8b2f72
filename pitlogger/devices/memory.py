"""What drivers keep over restarts: a JSON file, an object a device, written whole or not at all."""

from __future__ import annotations

import json
import logging
import os
from pathlib import Path

from pitlogger.devices.contract import Memory

log = logging.getLogger(__name__)


def load_memories(path: Path) -> dict[str, Memory]:
    """Return what drivers kept, by device id; empty where there is nothing that can be read."""
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as fault:
        log.warning("drivers start without memory: %s cannot be read: %s", path, fault)
        return {}
    return kept if isinstance(kept, dict) else {}


def save_memories(path: Path, memories: dict[str, Memory]) -> None:
    """Write what drivers keep, where it changed.

    A failure is logged, since readings go on without it.
    """
    kept = {device: dict(memory) for device, memory in memories.items() if memory}
    if kept == load_memories(path):
        return
    fresh = path.with_suffix(".new")
    try:
        fresh.write_text(json.dumps(kept), encoding="utf-8")
        os.replace(fresh, path)
    except OSError as fault:
        log.warning("the memory of drivers was not kept: %s: %s", path, fault)
