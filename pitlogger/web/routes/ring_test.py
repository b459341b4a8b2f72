"""The ring test: does what is to wake somebody reach them? Only they can say "Got it"."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace

from pitlogger.clock import rfc3339
from pitlogger.errors import RefusedError
from pitlogger.model.journal import Noted
from pitlogger.notify.trial import SOUNDER, TestMessage, try_ways
from pitlogger.views.node import Node
from pitlogger.views.view import Moment, View, moment

NOTE = "Ring test heard"


@dataclass(frozen=True, slots=True)
class Rung:
    """One ring test; times are engine milliseconds, ``trials`` is ``None`` while it rings."""

    at_ms: int
    trials: tuple[TestMessage, ...] | None = None
    heard_ms: int | None = None
    heard_by: str = ""

    @property
    def failed(self) -> tuple[TestMessage, ...]:
        return tuple(one for one in self.trials or () if not one.arrived)


class TrialView(View):
    """Whether one way took the ring test, and what it said."""

    way: str
    arrived: bool
    said: str


class RungView(View):
    """The last ring test: whether it rings still, by which ways, and who heard it."""

    at: Moment
    rings: bool
    ways: tuple[TrialView, ...]
    heard: Moment | None
    heard_by: str


class RingTest:
    """Rings by every way of being told, and takes the answer. The last one is remembered."""

    def __init__(self, daemon: Node) -> None:
        self.last: Rung | None = None
        self._daemon = daemon
        self._ringing: asyncio.Task[None] | None = None

    def begin(self) -> Rung:
        """Ring now, in the background; one that rings already goes on."""
        if self._ringing is None or self._ringing.done():
            self.last = Rung(self._daemon.clock.engine_ms())
            self._ringing = asyncio.create_task(self._ring(self.last), name="ring-test")
        assert self.last is not None
        return self.last

    async def finished(self) -> Rung:
        """Return the last ring test once every way has answered."""
        if self._ringing is not None:
            await self._ringing
        assert self.last is not None, "begin() comes first"
        return self.last

    async def _ring(self, rung: Rung) -> None:
        config, utc_ms = self._daemon.config, self._daemon.clock.utc_ms()
        trials: list[TestMessage] = []
        said = await self._daemon.notifier.try_sounder()
        if said is not None:
            trials.append(TestMessage(SOUNDER, SOUNDER, True, said))
        if ways := tuple(way.id for way in config.notify.way):
            trials += await try_ways(config, ways, utc_ms)
        self.last = replace(self.last or rung, trials=tuple(trials))

    async def heard(self, by: str) -> Rung:
        """Take that somebody heard it; with a cook running the journal keeps it.

        Raises:
            RefusedError: Nothing was rung.
        """
        rung = self.last
        if rung is None:
            raise RefusedError("nothing was rung since the node started: ring first")
        self.last = replace(rung, heard_ms=self._daemon.clock.engine_ms(), heard_by=by)
        book = self._daemon.engine.book
        if book.cook is not None and book.finished_ms is None:
            ways = ", ".join(one.way for one in rung.trials or () if one.arrived)
            await self._daemon.submit(Noted(f"{NOTE} ({ways or 'this page'})."), by)
        return self.last

    def view(self) -> RungView | None:
        """Return the last ring test as the API shows it, ``None`` before the first."""
        rung, offset_ms = self.last, self._daemon.utc_offset_ms
        if rung is None:
            return None
        return RungView(
            at=rfc3339(rung.at_ms + offset_ms),
            rings=rung.trials is None,
            ways=tuple(
                TrialView(way=one.way, arrived=one.arrived, said=one.said)
                for one in rung.trials or ()
            ),
            heard=moment(rung.heard_ms, offset_ms),
            heard_by=rung.heard_by,
        )
