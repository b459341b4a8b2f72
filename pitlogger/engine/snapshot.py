"""Snapshots: the engine's state as bytes, and back, exactly.

The version holds a digest of the state's own shape, so that a snapshot of another shape is
never loaded: the engine is then run anew from the start of the cook.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache

from pydantic import TypeAdapter

from pitlogger import __version__
from pitlogger.engine.state import EngineState

FORMAT = 2  # of the bytes, beside the shape of the state


@cache
def _adapter() -> TypeAdapter[EngineState]:
    return TypeAdapter(EngineState)


@cache
def snapshot_version() -> str:
    """Return the version under which snapshots are kept and may be loaded."""
    shape = json.dumps(_adapter().json_schema(), sort_keys=True)
    return f"{__version__}/{FORMAT}-{hashlib.sha256(shape.encode()).hexdigest()[:12]}"


def dump_state(state: EngineState) -> bytes:
    """Return the state as JSON; the store packs it, in its own thread."""
    return _adapter().dump_json(state)


def load_state(body: bytes) -> EngineState:
    """Return the state that was dumped.

    Raises:
        ValueError: Not a snapshot of this version.
    """
    return _adapter().validate_json(body)
