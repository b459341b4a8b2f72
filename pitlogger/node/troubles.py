"""What is wrong with the node's own files, as alarms: while it lasts, or mended already.

The store and its readers tell from threads of their own; the alarms are fed on the loop.
"""

from __future__ import annotations

import asyncio
import logging
from typing import Literal

from pitlogger.engine.inputs import Command
from pitlogger.model.journal import TroubleChanged
from pitlogger.store.rows import Trouble
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

WAYS_IN = ("notify-failing/page-port", "notify-failing/local-socket", "notify-failing/hub-port")
MENDED_TOLD = 10  # sentences
REMEDY_MENDED = (
    "Damage comes from worn cards and bad power: make a backup to another disk and replace the"
    " card. `pitlogger store doctor` lists what was set aside"
)
MENDED_S = 60.0  # for so long an alarm about what is mended already stands


class Troubles:
    """Tells of the store's troubles; what comes before the run has begun waits for ``begin``.

    Attributes:
        standing: What keeps the store from writing, ``None`` while it writes.
    """

    def __init__(self, node: Node) -> None:
        self.standing: Trouble | None = None
        self._node = node
        self._loop = asyncio.get_running_loop()
        self._early: list[Trouble | None] = []
        self._mended: list[str] = []
        self._has_begun = False

    def begin(self) -> None:
        """Report what was wrong already, and end what an earlier run reported."""
        self._has_begun = True
        for watch in [*self._node.engine.state.watches.values()]:
            kind, _, subject = watch.key.partition("/")
            if watch.key in WAYS_IN and (watch.holds or watch.pending_ms is not None):
                self._feed(subject, None, "notify-failing")
            elif watch.holds and kind == "store-failing" and subject != "node":
                self._feed(subject, None)
        for trouble in self._early:
            self._changed(trouble)
        self._tell_mended()

    def on_trouble(self, trouble: Trouble | None) -> None:
        """Take from any thread what keeps the store from writing."""
        self._loop.call_soon_threadsafe(self._changed, trouble)

    def on_mended(self, words: str) -> None:
        """Take from any thread a sentence about damage that is mended."""
        log.error("%s", words)
        self._loop.call_soon_threadsafe(self._say_mended, words)

    def tell(self, subject: str, message: str, remedy: str, *, stands: bool = False) -> None:
        """Tell of something wrong with our files: alarmed for a minute, or while it stands."""
        self._feed(subject, Trouble(message, remedy))
        if not stands:
            self._loop.call_later(MENDED_S, self._feed, subject, None)

    def over(self, subject: str) -> None:
        """End what was reported for as long as it stood."""
        watch = self._node.engine.state.watches.get(f"store-failing/{subject}")
        if watch is not None and watch.holds:
            self._feed(subject, None)

    def tell_closed(self, way_in: str, trouble: Trouble | None) -> None:
        """Tell why page, socket or hub cannot be opened, ``None`` once it is."""
        self._feed(way_in, trouble, "notify-failing")

    def _say_mended(self, words: str) -> None:
        self._mended.append(words)
        if self._has_begun:
            self._tell_mended()

    def _tell_mended(self) -> None:
        """Tell of damage that is mended, one alarm for all of it."""
        if self._mended:
            words = f"the record was damaged: {'; '.join(self._mended[-MENDED_TOLD:])}"
            self.tell("record", words, REMEDY_MENDED)

    def _changed(self, trouble: Trouble | None) -> None:
        self.standing = trouble
        if self._has_begun:
            self._feed("node", trouble)
        else:
            self._early.append(trouble)

    def _feed(
        self,
        subject: str,
        trouble: Trouble | None,
        kind: Literal["store-failing", "notify-failing"] = "store-failing",
    ) -> None:
        message, remedy = ("", "") if trouble is None else (trouble.message, trouble.remedy)
        changed = TroubleChanged(kind, subject, trouble is not None, message, remedy)
        self._node.feed(Command(self._node.clock.engine_ms(), changed))
