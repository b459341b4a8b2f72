"""Weights kept while no cook was running: for a piece of a later cook.

Kept beside the database, a line for each thing done (JSON Lines, append-only). A weight that was
given to a piece, or dropped, leaves the list; the file keeps every line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitlogger.errors import UsageError
from pitlogger.node.row_file import RowFile
from pitlogger.views.node import Node

MOST = 200
FILE = "loose-weights.jsonl"


@dataclass(frozen=True, slots=True)
class LooseWeight:
    """One mass without a cook; ``net_mg`` is less its container, ``at_ms`` UTC."""

    id: str
    net_mg: int
    at_ms: int
    note: str = ""
    by: str = ""
    on_list: bool = True


def loose_weights(daemon: Node) -> dict[str, LooseWeight]:
    """Return the weights that wait for a piece, by id, the oldest first."""
    return {key: one for key, one in _known(daemon).items() if one.on_list}


def keep_loose(daemon: Node, one: LooseWeight) -> LooseWeight:
    """Keep a weight for later; it is on disk when this returns. Kept twice is kept once.

    Raises:
        UsageError: No mass, or a list that is full.
        StoreError: The disk refuses.
    """
    known = _known(daemon)
    if one.id in known:
        return known[one.id]
    if one.net_mg <= 0:
        raise UsageError("that weighs nothing: a mass above zero is expected", "mass")
    if sum(held.on_list for held in known.values()) >= MOST:
        raise UsageError(f"{MOST} weights wait already: give some to their pieces, or drop them")
    _file(daemon).add(one)
    return one


def list_loose(daemon: Node, key: str, *, on_list: bool) -> LooseWeight:
    """Take a weight off the list, or put it back.

    Raises:
        UsageError: No such weight.
    """
    held = _known(daemon).get(key)
    if held is None:
        raise UsageError("that weight is not on the list: look at the screen again")
    made = replace(held, on_list=on_list)
    if held.on_list is not on_list:
        _file(daemon).add(made)
    return made


def _file(daemon: Node) -> RowFile[LooseWeight]:
    return RowFile(daemon.config.node.data / FILE, LooseWeight)


def _known(daemon: Node) -> dict[str, LooseWeight]:
    return {one.id: one for one in _file(daemon).rows()}
