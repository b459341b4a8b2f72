"""What drivers keep over restarts: a JSON file, an object a device, written whole or not at all."""

from __future__ import annotations

import json
import logging
from contextlib import suppress
from pathlib import Path

from pitlogger.devices.contract import Memory
from pitlogger.files import set_aside, write_soon
from pitlogger.formats.json_text import parse_json

log = logging.getLogger(__name__)


def load_memories(path: Path) -> dict[str, Memory]:
    """Return what drivers kept, by device id; empty where there is nothing that can be read."""
    try:
        kept = parse_json(path.read_bytes())
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as fault:
        log.error("drivers start without memory: %s cannot be read: %s", path, fault)
        with suppress(OSError):
            set_aside(path)
        return {}
    if not isinstance(kept, dict):
        return {}
    return {name: memory for name, memory in kept.items() if isinstance(memory, dict)}


def save_memories(path: Path, memories: dict[str, Memory]) -> None:
    """Write what drivers keep, where it changed, without waiting for the disk.

    A failure is logged, since readings go on without it.
    """
    kept = {device: dict(memory) for device, memory in memories.items() if memory}
    if kept == load_memories(path):
        return
    write_soon(path, json.dumps(kept))
