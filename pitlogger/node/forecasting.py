"""Forecasts beside the daemon's engine: asked for, computed in threads, handed in when due.

The owner's finished cooks teach the next ones. When a cook is finished, how far off its
forecasts were is journalled with it; when the next begins, what all earlier ones taught is
journalled with that, so that its record alone replays to the same forecasts.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Coroutine, Iterator

from pitlogger.bootstrap.engines import forecast_answer
from pitlogger.engine.forecasts.exchange import finished
from pitlogger.engine.inputs import Command, ForecastRequest, ForecastResult
from pitlogger.errors import PitloggerError
from pitlogger.forecast.request import Request
from pitlogger.model import journal
from pitlogger.model.folding import fold
from pitlogger.store.queries import Reader
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

COOKS_TAUGHT = 40  # the newest; older ones were another cook's fire


class Forecasting:
    """Computes what the engine asks for, and keeps what finished cooks taught."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._asked: list[tuple[ForecastRequest, asyncio.Task[ForecastResult]]] = []
        self._learning: set[asyncio.Task[None]] = set()
        self._own: dict[str, tuple[journal.LocalScore, ...]] = {}  # by cook, the newest last

    # -- asking -----------------------------------------------------------------------------

    def ask(self, request: ForecastRequest) -> None:
        """Begin to compute an answer; it shares nothing with the engine."""
        answer = forecast_answer(self._node.engine, request)
        task = asyncio.create_task(asyncio.to_thread(answer), name="forecast")
        self._asked.append((request, task))

    def due(self, now_ms: int) -> Iterator[ForecastResult]:
        """Yield the answers that are due; one that is not ready is reported as skipped."""
        while self._asked and self._asked[0][0].due_ms <= now_ms:
            request, task = self._asked.pop(0)
            if task.done() and task.exception() is None:
                yield task.result()
                continue
            reason = "not ready in time" if not task.done() else str(task.exception())
            task.cancel()
            skipped = journal.ForecastSkipped(
                request.piece, request.target, request.requested_ms, reason
            )
            yield ForecastResult(request.due_ms, skipped)

    async def settled(self) -> None:
        """Wait until nothing is being computed."""
        tasks = [*(task for _, task in self._asked), *self._learning]
        await asyncio.gather(*tasks, return_exceptions=True)

    async def stop(self) -> None:
        """Let go of what is asked, finish what is being learnt."""
        for _, task in self._asked:
            task.cancel()
        await asyncio.gather(*self._learning, return_exceptions=True)

    # -- learning -----------------------------------------------------------------------------

    def remember(self, own: dict[str, tuple[journal.LocalScore, ...]]) -> None:
        """Take in what finished cooks taught; a cook finished again counts by its last."""
        for cook, scores in own.items():
            self._own.pop(cook, None)
            self._own[cook] = scores

    def follow(self, command: Command) -> None:
        """Let a cook that begins have what earlier ones taught; learn from one that ends."""
        if isinstance(command.body, journal.CookStarted) and self._own:
            newest = list(self._own.values())[-COOKS_TAUGHT:]
            taught = journal.ForecastTaught(tuple(score for cook in newest for score in cook))
            self._node.feed(Command(command.t_ms, taught))
        elif (
            isinstance(command.body, journal.CookFinished) and self._node.finished_cook is not None
        ):
            self._beside(self._learn(self._node.finished_cook))
        elif command.past and isinstance(
            command.body, journal.CookWithdrawn | journal.LearningSet | journal.Undone
        ):
            self._beside(self._recall())

    def _beside(self, learning: Coroutine[None, None, None]) -> None:
        task = asyncio.create_task(learning, name="learn")
        self._learning.add(task)
        task.add_done_callback(self._learning.discard)

    async def _recall(self) -> None:
        """Take from the record anew what is taught: a person said what teaches and what not."""
        await self._node.flushed()
        self._own = await self._node.ask(taught_by)

    async def _learn(self, cook: str) -> None:
        questions = finished(self._node.engine, cook)
        try:
            scored = await asyncio.to_thread(_scored, cook, questions) if questions else None
        except PitloggerError as error:
            log.error("the cook '%s' teaches the forecasts nothing: %s", cook, error)
            return
        if scored is not None:
            self._node.feed(Command(self._node.clock.engine_ms(), scored))
            self.remember({cook: scored.scores})


_TAUGHT_BY = (
    "cook-started", "piece-added", "piece-split", "pieces-merged", "learning-set", "undone",
)  # fmt: skip


def taught_by(reader: Reader) -> dict[str, tuple[journal.LocalScore, ...]]:
    """Return what each finished cook teaches, the newest last.

    A cook that was withdrawn, a cook or a piece excluded from learning teaches nothing.
    """
    own: dict[str, tuple[journal.LocalScore, ...]] = {}
    for entry in reader.entries(kinds=("forecast-scored",)):
        if isinstance(entry.body, journal.ForecastScored):
            for cook in dict.fromkeys(score.cook for score in entry.body.scores):
                own.pop(cook, None)
                own[cook] = tuple(score for score in entry.body.scores if score.cook == cook)
    listed = {row.id for row in reader.cooks()}
    return {
        cook: taught
        for cook, scores in own.items()
        if cook in listed and (taught := _still_taught(reader, cook, scores))
    }


def _still_taught(
    reader: Reader, cook: str, scores: tuple[journal.LocalScore, ...]
) -> tuple[journal.LocalScore, ...]:
    book = fold(reader.entries(cook=cook, kinds=_TAUGHT_BY))
    out = {piece for piece, held in book.pieces.items() if held.untaught}
    return () if book.untaught else tuple(one for one in scores if one.piece not in out)


def _scored(cook: str, questions: list[tuple[Request, float]]) -> journal.ForecastScored | None:
    from pitlogger.forecast.recalibrate import scores

    found = [score for asked, reached_s in questions for score in scores(cook, asked, reached_s)]
    return journal.ForecastScored(tuple(found)) if found else None
