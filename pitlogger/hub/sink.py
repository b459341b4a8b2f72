"""Where a hub keeps what it receives: one commit a batch, then the receipts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from pitlogger.hub.receive import Aside, NodeRow, Received


@dataclass(slots=True)
class Outcome:
    """What became of a batch, once it is on disk.

    Attributes:
        received: Bundles that are in the database, by node.
        aside: Messages set aside for good.
        has: The last entry that the database has of each run the batch was of, by node.
        cooks: Cooks that got entries, (node, cook), to be folded anew.
    """

    received: list[Received] = field(default_factory=list)
    aside: list[Aside] = field(default_factory=list)
    has: dict[tuple[str, str], int] = field(default_factory=dict)
    cooks: set[tuple[int, str]] = field(default_factory=set)


class Sink(Protocol):
    """A database of the hub. Used from one thread at a time."""

    hub: str

    def node_of(self, uid: str) -> NodeRow | None:
        """Return a node by its id, as the database has it now."""

    def take(self, batch: Sequence[Received], aside: Sequence[Aside], at_ms: int) -> Outcome:
        """Write a batch in one commit.

        Raises:
            HubFullError: The disk or the database refuses; nothing was written.
        """
