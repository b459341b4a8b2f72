"""The list of containers: pans, trays and boards whose mass is known.

Kept beside the database, a line for each thing done (JSON Lines, append-only): who put what on
the list, or took it off. A weighing names its container and takes the mass known of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from pitlogger.errors import UsageError, unknown
from pitlogger.node.row_file import RowFile
from pitlogger.views.node import Node
from pitlogger.yields.weighing.containers import Container, recognise

MOST = 100
FILE = "containers.jsonl"


@dataclass(frozen=True, slots=True)
class Kept:
    """A container on the list; ``at_ms`` is UTC. One taken off has no mass."""

    name: str
    tare_mg: int | None
    by: str = ""
    at_ms: int = 0


def containers(daemon: Node) -> dict[str, Kept]:
    """Return the containers on the list, by name, in the order of their names."""
    path = _path(daemon)
    try:
        found = path.stat()
    except FileNotFoundError:
        return {}
    return _read(path, found.st_mtime_ns, found.st_size)


def keep(daemon: Node, name: str, tare_mg: int, by: str) -> Kept:
    """Put a container on the list, or change its mass; it is on disk when this returns.

    Raises:
        UsageError: No mass, or a list that is full.
    """
    known = containers(daemon)
    if tare_mg <= 0:
        message = f"container '{name}': a mass above zero is expected: weigh it empty"
        raise UsageError(message, "mass")
    if name not in known and len(known) >= MOST:
        raise UsageError(f"there are {MOST} containers on the list: take one off first")
    made = Kept(name, tare_mg, by, daemon.clock.utc_ms())
    if name in known and known[name].tare_mg == tare_mg:
        return known[name]
    RowFile(_path(daemon), Kept).add(made)
    return made


def remove(daemon: Node, name: str, by: str) -> Kept:
    """Take a container off the list; weighings that named it keep its mass.

    Raises:
        UsageError: No such container.
    """
    known = containers(daemon)
    if name not in known:
        raise UsageError(unknown("container", name, known))
    gone = Kept(name, None, by, daemon.clock.utc_ms())
    RowFile(_path(daemon), Kept).add(gone)
    return replace(known[name], by=by)


def tare_of(daemon: Node, name: str | None) -> int | None:
    """Return the mass of a container on the list, ``None`` for one that is not."""
    held = containers(daemon).get(name or "")
    return None if held is None else held.tare_mg


def looks_like(daemon: Node, gross_mg: int, interval_mg: int) -> Kept | None:
    """Return the container that a steady mass is, ``None`` if none or several fit."""
    known = containers(daemon)
    library = [Container(one.name, (one.tare_mg or 0) / 1000) for one in known.values()]
    found = recognise(gross_mg / 1000, library, interval_mg / 1000)
    return None if found is None else known[found.id]


def _path(daemon: Node) -> Path:
    return daemon.config.node.data / FILE


@lru_cache(maxsize=4)
def _read(path: Path, changed_ns: int, size: int) -> dict[str, Kept]:
    """Return the list as a file has it; what changed the file asks anew."""
    held: dict[str, Kept] = {}
    for one in RowFile(path, Kept).rows():
        held.pop(one.name, None)
        if one.tare_mg is not None:
            held[one.name] = one
    return dict(sorted(held.items()))
