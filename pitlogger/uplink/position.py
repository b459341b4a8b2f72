"""How far the hub has received a node's record: a small file beside it.

The record itself is the queue; nothing of it is copied. Losing this file costs sending all of
it again, which the hub takes without doubling anything.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from pitlogger.files import write_whole


@dataclass(frozen=True, slots=True)
class Position:
    """The last of each kind of record that was received, in the order of the file.

    Attributes:
        journal: Sequence of the last entry received, by the number of its run in the file.
        span: Row of the packed span; ``lost`` of the note of lost readings.
        rewritten: Revision received of spans that late readings rewrote, by row.
    """

    journal: dict[int, int] = field(default_factory=dict)
    span: int = 0
    lost: int = 0
    rewritten: dict[int, int] = field(default_factory=dict)

    @staticmethod
    def load(path: Path, hub: str) -> Position:
        """Return what a file remembers of a hub; the beginning where it remembers nothing."""
        try:
            given = _FILE.validate_json(path.read_bytes())
        except (OSError, ValidationError):
            return Position()
        return given.position if given.hub == hub else Position()

    def save(self, path: Path, hub: str) -> None:
        """Write it, whole or not at all.

        Raises:
            OSError: It could not be written; the file is as it was.
        """
        write_whole(path, json.dumps({"hub": hub, "position": asdict(self)}))


@dataclass(frozen=True, slots=True)
class _File:
    hub: str
    position: Position


_FILE = TypeAdapter(_File)


@dataclass(slots=True)
class Progress:
    """Positions of bundles on their way: what is received counts up to the first that is not."""

    received: Position
    _after: dict[int, Position] = field(default_factory=dict)  # by bundle, in order sent
    _done: set[int] = field(default_factory=set)

    @property
    def sent(self) -> Position:
        """How far has been sent."""
        return next(reversed(self._after.values()), self.received)

    def send(self, number: int, after: Position) -> None:
        """Take a bundle that ends at a position."""
        self._after[number] = after

    def receive(self, number: int) -> bool:
        """Take a receipt; return whether the received position moved."""
        if number not in self._after:
            return False
        self._done.add(number)
        moved = False
        for first in list(self._after):
            if first not in self._done:
                break
            self.received = self._after.pop(first)
            self._done.discard(first)
            moved = True
        return moved
