"""Journal entries on their way: onto the disk, then to whoever listens.

Entries are told only once they are on disk; an alarm after a quarter of a second at the
latest, marked as not yet on disk if it is not.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager

from pitlogger.errors import PitloggerError, StoreError
from pitlogger.formats.journal_json import dump_entry
from pitlogger.model import journal
from pitlogger.model.alerts import alert_class
from pitlogger.model.belonging import BESIDE, cooks_of
from pitlogger.node.decisions import Decisions
from pitlogger.store.rows import JournalRow
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

ALARM_TOLD_S = 0.25
# What is said of a finished cook; a tick of the same moment may cause other entries.
_OF_PAST = (
    journal.Undone, journal.Corrected, journal.LearningSet, journal.CookWithdrawn, journal.Weighed,
    journal.StageSet, journal.SpotRead, journal.Noted, journal.TargetSet, journal.CorrectiveTaken,
)  # fmt: skip


class Journalling:
    """Keeps entries under the cook they belong to, and publishes them."""

    def __init__(self, node: Node, decisions: Decisions) -> None:
        self._node = node
        self._decisions = decisions
        self._telling: set[asyncio.Task[None]] = set()
        self._past = ""

    @contextmanager
    def under(self, past: str) -> Iterator[None]:
        """Keep what is entered meanwhile under a finished cook, if one is named."""
        self._past = past
        try:
            yield
        finally:
            self._past = ""

    @property
    def is_settled(self) -> bool:
        """Whether everything that was entered has been published."""
        return not self._telling

    def keep(self, entries: Sequence[journal.Entry]) -> None:
        """Hand entries to the store and publish them when that is due."""
        rows = [JournalRow.of(entry, *self._cooks_of(entry)) for entry in entries]
        done = self._node.store.append(rows)
        self._decisions.handed_to_disk(entries, done)
        task = asyncio.create_task(self._tell(rows, done), name="tell")
        self._telling.add(task)
        task.add_done_callback(self._telling.discard)

    async def stop(self) -> None:
        """Wait until the last entries are published; the store has been closed."""
        await asyncio.gather(*self._telling, return_exceptions=True)

    def _cooks_of(self, entry: journal.Entry) -> tuple[str | None, ...]:
        """Return the cooks that an entry belongs to."""
        node = self._node
        if self._past == BESIDE:
            return ()
        if self._past and isinstance(entry.body, _OF_PAST):
            return (self._past,)
        if isinstance(entry.body, journal.MealTold):
            return ()  # it names its cook, which may not be the one that runs now
        if isinstance(entry.body, journal.ForecastScored):
            return (node.finished_cook,)
        cooks = cooks_of(entry.body, node.engine.book, node.engine.state.entries)
        if isinstance(entry.body, journal.CookFinished):
            (node.finished_cook,) = cooks
        return cooks

    async def _tell(self, rows: Sequence[JournalRow], done: Future[None]) -> None:
        on_disk = asyncio.wrap_future(done)
        early: set[int] = set()
        try:
            await asyncio.wait_for(asyncio.shield(on_disk), ALARM_TOLD_S)
        except TimeoutError:
            for row in rows:
                if _is_alarm(row.entry):
                    self._publish(row, on_disk=False)
                    early.add(row.entry.seq)
            try:
                await on_disk
            except StoreError as refusal:  # the daemon ends and the disk never took them
                log.error("%d journal entries were not written: %s", len(rows), refusal)
                return
        except PitloggerError as refusal:  # the record has them already, saying something else
            log.error("%d journal entries were refused: %s", len(rows), refusal)
            for row in rows:
                self._publish(row, on_disk=False)
            return
        for row in rows:
            if row.entry.seq not in early:
                self._publish(row, on_disk=True)

    def _publish(self, row: JournalRow, on_disk: bool) -> None:
        entry = row.entry
        utc_ms = entry.t_ms + self._node.utc_offset_ms
        more = {"id": entry.id, "of_cook": row.cook, "utc_ms": utc_ms, "on_disk": on_disk}
        data = {**dump_entry(entry), **more}
        kind = "alert" if isinstance(entry.body, journal.AlertChanged) else "entry"
        self._node.fanout.publish(Happening(kind, data, f"{entry.run}/{entry.seq}"))


def _is_alarm(entry: journal.Entry) -> bool:
    body = entry.body
    return isinstance(body, journal.AlertChanged) and alert_class(body.alert_kind) == "alarm"
