"""A node at work, as its parts, the page, the commands and the notifiers see it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol, TypeVar

from pitlogger.clock import Clock
from pitlogger.config import Config
from pitlogger.devices.supervisor import Supervisor
from pitlogger.engine.inputs import Input
from pitlogger.engine.step import Engine
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import Body, Entry
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy
from pitlogger.safety.policy import Policy as Limits
from pitlogger.store.queries import Reader
from pitlogger.store.rows import Trouble
from pitlogger.store.store import Store
from pitlogger.views.fanout import Fanout
from pitlogger.views.uplink import UplinkStatus

Answer = TypeVar("Answer")


class Notifying(Protocol):
    """How people are notified of alerts."""

    def waiting(self) -> dict[str, int]:
        """Return how many messages wait, by way."""

    def oldest_s(self) -> dict[str, float]:
        """Return the age of the oldest message that waits, by way."""

    def why_unsent(self, alert: str, wakes: bool) -> str:
        """Return why no message about an alert has been made."""

    async def try_sounder(self) -> str | None:
        """Sound it briefly and return what should have been heard, ``None`` without one."""


class Uplinking(Protocol):
    """The node's way to a hub; see ``node/uplinking.py``."""

    @property
    def is_on(self) -> bool:
        """Whether there is a hub to send to."""

    def start_with(self, carrier: Any, hub: str, where: str, firm: str) -> None:
        """Begin over a way that is given."""

    async def join(self, address: str, code: str) -> Any:
        """Join a hub and begin sending to it."""

    async def leave(self) -> None:
        """Stop sending, and forget the hub."""

    def status(self) -> UplinkStatus:
        """Return how it fares."""


class Node(Protocol):
    """A node at work: the daemon, or a stand-in of it.

    Attributes:
        uid: Of the installation, for ever.
        finished_cook: The id of the last one that ended in this run.
        utc_offset_ms: UTC less engine time.
        stopping: Set when the node ends.
    """

    config: Config
    clock: Clock
    engine: Engine
    fanout: Fanout
    store: Store
    supervisor: Supervisor
    policy: RulePolicy
    safety: Limits
    units: Units
    channels: list[Channel]
    run: str
    uid: str
    finished_cook: str | None
    utc_offset_ms: int
    stopping: asyncio.Event

    @property
    def socket(self) -> Path:
        """Where the command line reaches the node."""

    @property
    def cooks(self) -> tuple[str, ...]:
        """The ids of the open cooks, the newest last."""

    @property
    def cook(self) -> str | None:
        """The id of the newest open cook, ``None`` without one."""

    @property
    def trouble(self) -> Trouble | None:
        """What keeps the store from writing, ``None`` while it writes."""

    @property
    def notifier(self) -> Notifying:
        """How people are notified."""

    @property
    def uplinking(self) -> Uplinking:
        """The way to a hub."""

    def feed(self, given: Input) -> list[Entry]:
        """Hand one input to the engine; return the journal entries it caused."""

    def meet(self, channel: Channel) -> None:
        """Take up what a channel measures."""

    async def submit(self, body: Body, by: str = "", key: str = "", past: str = "") -> Entry:
        """Enter a decision; the same key again does nothing twice.

        ``past`` is the id of a finished cook that it belongs to.
        """

    async def flushed(self) -> None:
        """Wait until all that was entered so far is on disk."""

    async def earlier(self, key: str) -> Entry | None:
        """Return what a request with this key became, ``None`` for a new one."""

    def tell_trouble(self, subject: str, message: str, remedy: str) -> None:
        """Tell of something that was wrong with our files and is mended."""

    def tell_closed(self, way_in: str, trouble: Trouble | None) -> None:
        """Tell why page, socket or hub cannot be opened, ``None`` once it is."""

    def is_on_disk(self, entry: Entry) -> bool:
        """Return whether the disk has taken an entry."""

    async def reload(self, config: Config) -> Any:
        """Go on with what can be applied of another configuration; return what it was."""

    async def ask(self, question: Callable[[Reader], Answer]) -> Answer:
        """Put a question to the store's reader thread and return the answer."""

    async def add_past(self, cooks: list[PaperCook]) -> None:
        """Put cooks from a paper log on record, all or none."""

    async def forget(self, device: str) -> None:
        """Forget what is remembered of a device, and begin with it anew."""

    def held_up_s(self) -> float:
        """Return by how much the loop came late, at most, in the last minutes."""

    def keeps_up(self) -> bool:
        """Return whether the engine keeps up with its clock."""

    def is_well(self) -> bool:
        """Return whether the engine ticks and the store writes."""
