"""What notifying needs of the daemon."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from pitlogger.clock import Clock
from pitlogger.config import Config
from pitlogger.engine.inputs import Input
from pitlogger.engine.step import Engine
from pitlogger.model.journal import Body, Entry
from pitlogger.notify.fanout import Fanout
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import Policy
from pitlogger.store.queries import Reader
from pitlogger.store.store import Store


class Node(Protocol):
    """A node at work: the daemon, or a stand-in of it."""

    config: Config
    clock: Clock
    engine: Engine
    fanout: Fanout
    store: Store
    policy: Policy
    units: Units
    run: str
    uid: str
    cook: str | None
    utc_offset_ms: int

    def feed(self, given: Input) -> list[Entry]:
        """Hand one input to the engine."""

    async def submit(self, body: Body, by: str = "", key: str = "") -> Entry:
        """Enter a decision; the same key again does nothing twice."""

    def is_on_disk(self, entry: Entry) -> bool:
        """Return whether the disk has taken an entry."""

    async def ask(self, question: Callable[[Reader], Any]) -> Any:
        """Put a question to the store."""

    def is_well(self) -> bool:
        """Return whether the engine ticks and the store writes."""
