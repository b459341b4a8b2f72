"""The live stream: a snapshot, what was missed, what happens, and the figures each second.

Figures are made once a beat for each choice of units, however many phones look on. A phone
that cannot keep up gets the latest, never a backlog.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from pitlogger.rules.messages import Units
from pitlogger.views.fanout import Happening
from pitlogger.views.journal import entry_view
from pitlogger.views.language import readers_decimal, readers_locale
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import status
from pitlogger.web.page.cooking.figures import figures, scales

BEAT_S = 1.0
WEIGHING_BEAT_S = 0.25
BEAT = "figures"
MISSED_AT_MOST = 1000
QUIET_S = 10.0  # before a listener gets word that the node is still here


class Pulse:
    """Tells all listeners that new figures stand, and makes them when they are asked for."""

    def __init__(self, daemon: Node) -> None:
        self._daemon = daemon
        self._made: dict[tuple[Units, str | None, str | None], str] = {}
        self._task: asyncio.Task[None] | None = None
        self._listeners = 0

    def chunk(self, units: Units) -> str:
        """Return the figures of this beat as an event."""
        reader = (units, readers_decimal.get(), readers_locale.get())
        made = self._made.get(reader)
        if made is None:
            made = self._made[reader] = event(BEAT, self._figures(units))
        return made

    def begin(self) -> None:
        """Count a listener in; the beat runs while there is one."""
        self._listeners += 1
        if self._task is None:
            self._task = asyncio.create_task(self._beat(), name="figures")

    def end(self) -> None:
        """Count a listener out."""
        self._listeners -= 1
        if not self._listeners and self._task is not None:
            self._task.cancel()
            self._task = None

    async def _beat(self) -> None:
        while not self._daemon.stopping.is_set():
            self._made.clear()
            self._daemon.fanout.publish(Happening(BEAT, {}))
            await asyncio.sleep(WEIGHING_BEAT_S if self._is_weighing() else BEAT_S)

    def _is_weighing(self) -> bool:
        """Return whether a load on a scale is settling: then a second is too slow."""
        return any(
            lane.state.value is not None
            and not lane.state.stale
            and lane.state.steadiness.steady_mg is None
            and self._daemon.clock.engine_ms() - lane.state.heard_ms < 3000
            for lane in self._daemon.engine.lanes.values()
            if not lane.is_temperature and lane.state.steadiness.times_ms
        )

    def _figures(self, units: Units) -> dict[str, Any]:
        daemon = self._daemon
        shown = Shown(units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
        return {
            "now": shown.clock(shown.now_ms),
            "iso": shown.iso(shown.now_ms),
            "t_ms": shown.now_ms + daemon.utc_offset_ms,
            "figures": figures(daemon, shown),
            "scales": scales(daemon, shown),
        }


async def events(
    daemon: Node, pulse: Pulse, last_id: str, units: Units | None
) -> AsyncIterator[str]:
    """Yield events for one listener.

    Args:
        last_id: ``run/seq`` of the last entry it has; what came after is sent first.
        units: To show figures in; ``None`` for a listener that wants none.
    """
    async with daemon.fanout.listen() as queue:
        yield "retry: 2000\n\n"
        yield event("status", status(daemon).document())
        for entry in await _missed(daemon, last_id):
            yield event("entry", entry_view(daemon, entry).document(), f"{entry.run}/{entry.seq}")
        if units is not None:
            pulse.begin()
        try:
            while not daemon.stopping.is_set():
                happening = await _next(queue, daemon.stopping)
                if happening is None:
                    yield ": still here\n\n"
                elif happening.kind != BEAT:
                    yield event(happening.kind, happening.data, happening.id)
                elif units is not None:
                    yield pulse.chunk(units)
        finally:
            if units is not None:
                pulse.end()


async def _next(queue: asyncio.Queue[Happening], stopping: asyncio.Event) -> Happening | None:
    """Return what happens next, ``None`` when nothing did for a while or on stopping."""
    waiting = asyncio.create_task(queue.get())
    ending = asyncio.create_task(stopping.wait())
    try:
        await asyncio.wait({waiting, ending}, timeout=QUIET_S, return_when=asyncio.FIRST_COMPLETED)
        return waiting.result() if waiting.done() else None
    finally:
        waiting.cancel()
        ending.cancel()


async def _missed(daemon: Node, last_id: str) -> list[Any]:
    run, _, seq = last_id.partition("/")
    if not run or not seq.isdigit():
        return []
    after = (run, int(seq))
    return await daemon.ask(lambda reader: reader.entries(after=after, limit=MISSED_AT_MOST))


def event(kind: str, data: Any, event_id: str = "") -> str:
    """Return one event as the stream's text."""
    head = f"id: {event_id}\n" if event_id else ""
    return f"{head}event: {kind}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"
