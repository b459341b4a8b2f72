"""The one thread that writes.

Readings wait at most ``batch_s`` and go in one commit; what somebody waits for goes at once
and takes the waiting readings along. When the disk refuses, all is kept in memory and tried
again; only readings are ever given up, the oldest first, and then counted on record.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.model.readings import Tagged
from pitlogger.store.rows import Trouble
from pitlogger.store.sink import Loss, Sink, WriteJob
from pitlogger.store.troubles import SLOW_COMMIT_S, describe, is_about_host, is_damage, slow

log = logging.getLogger(__name__)

MAX_WAITING = 100_000  # readings; about an hour of 16 channels at 1 Hz and a scale at 10 Hz
MANY = 20_000  # readings that are written without waiting for the batch to end
_FIRST_RETRY_S, _LAST_RETRY_S = 0.5, 10.0
_LAST_TRIES_S = 0.3  # how long a closing writer goes on trying


class Writer:
    """Owns the writer thread and what waits for it."""

    def __init__(
        self,
        open_sink: Callable[[], Sink],
        replace: Callable[[Sink | None], Sink],
        on_mended: Callable[[str], None],
        on_trouble: Callable[[Trouble | None], None],
        batch_s: float,
        max_waiting: int = MAX_WAITING,
    ) -> None:
        """Start the thread.

        Args:
            open_sink: Opens the file; raises ``sqlite3.Error`` while that is impossible.
            replace: Moves a damaged file aside and opens a new one.
            on_mended: Told that a file was put back that somebody had removed while it was open.
            on_trouble: Told of trouble and, with ``None``, of its end.
            batch_s: Longest wait of readings, seconds.
            max_waiting: Readings kept in memory while the disk refuses.

        ``answered_s`` is when the disk last took a real write or refused one, monotonic;
        ``commit_s`` how long the last commit took.
        """
        self._open_sink = open_sink
        self._replace = replace
        self._on_mended = on_mended
        self._on_trouble = on_trouble
        self._batch_s = batch_s
        self._max_waiting = max_waiting
        self._wake = threading.Condition()
        self._jobs: deque[WriteJob] = deque()
        self._readings: deque[Sequence[Tagged]] = deque()
        self._held = 0  # readings in self._readings
        self._due_s: float | None = None  # when waiting readings must be written
        self._losses: list[Loss] = []
        self._lost = 0
        self._stop_s: float | None = None  # when a closing writer gives up
        self._waiting_since_s: float | None = None
        self._sink: Sink | None = None
        self._trouble: Trouble | None = None
        self._retry_s = 0.0
        self._backoff_s = _FIRST_RETRY_S
        self.answered_s = time.monotonic()
        self.commit_s = 0.0
        self._thread = threading.Thread(target=self._run, name="pitlogger-writer", daemon=True)
        self._thread.start()

    def submit(self, work: Callable[[Sink], Any], readings: Sequence[Tagged] = ()) -> Future[Any]:
        """Have ``work`` done in the next transaction, at once."""
        job = WriteJob(work)
        with self._wake:
            self._refuse_if_closed()
            self._jobs.append(job)
            self._hold(readings)
            self._wake.notify()
        return job.future

    def add(self, readings: Sequence[Tagged]) -> None:
        """Keep readings with the next transaction."""
        with self._wake:
            self._refuse_if_closed()
            self._hold(readings)
            if self._held >= MANY or self._due_s is not None:
                self._wake.notify()

    @property
    def wait_s(self) -> float:
        """Seconds that the oldest job has been waiting for the disk; 0 if none is."""
        since = self._waiting_since_s
        return 0.0 if since is None else time.monotonic() - since

    def close(self) -> None:
        """Write what waits, close the file, end the thread; gives up after 0.3 s."""
        with self._wake:
            if self._stop_s is None:
                self._stop_s = time.monotonic() + _LAST_TRIES_S
            self._wake.notify()
        self._thread.join()

    def _refuse_if_closed(self) -> None:
        if self._stop_s is not None:
            raise StoreError("the database is closed: nothing more can be written")

    def _hold(self, readings: Sequence[Tagged]) -> None:
        if not readings:
            return
        self._readings.append(readings)
        self._held += len(readings)
        if self._due_s is None:
            self._due_s = time.monotonic() + self._batch_s
        while self._trouble is not None and self._held > self._max_waiting:
            self._give_up(self._readings.popleft())

    def _give_up(self, readings: Sequence[Tagged]) -> None:
        """Count readings as lost; joined with the loss before, so that memory stays bounded."""
        self._held -= len(readings)
        self._lost += len(readings)
        from_ms, to_ms = readings[0].t_ms, readings[-1].t_ms
        if self._losses:
            last = self._losses[-1]
            last.to_ms = max(last.to_ms, to_ms)
            last.readings += len(readings)
        else:
            reason = self._trouble.message if self._trouble else ""
            self._losses.append(Loss(from_ms, to_ms, len(readings), reason))

    def _run(self) -> None:
        while True:
            with self._wake:
                while (pause_s := self._pause_s()) is None or pause_s > 0:
                    self._wake.wait(pause_s)
                jobs, self._jobs = self._jobs, deque()
                batches, self._readings = self._readings, deque()
                self._held, self._due_s = 0, None
                losses, self._losses = self._losses, []
            done = self._write(list(jobs), batches, losses)
            if not done:
                self._put_back(jobs, batches, losses)
            if self._is_over(done):
                self._finish()
                return

    def _is_over(self, done: bool) -> bool:
        """Return whether a closing writer has written everything, or has tried long enough."""
        with self._wake:
            if self._stop_s is None:
                return False
            empty = not self._jobs and not self._readings
            return (done and empty) or time.monotonic() >= self._stop_s

    def _pause_s(self) -> float | None:
        """Return how long to wait before writing; ``None`` for as long as nothing comes."""
        now = time.monotonic()
        if self._stop_s is not None:
            return min(0.1, self._stop_s - now) if now < self._retry_s else 0
        if self._sink is None or self._jobs or self._held >= MANY:
            return self._retry_s - now
        if self._due_s is None:
            return None
        return max(self._due_s, self._retry_s) - now

    def _write(
        self, jobs: list[WriteJob], batches: deque[Sequence[Tagged]], losses: list[Loss]
    ) -> bool:
        """Write all in one commit and answer those who wait; return whether it is on disk."""
        began_s = time.monotonic()
        if jobs:
            self._waiting_since_s = self._waiting_since_s or began_s
        try:
            if self._sink is None:
                self._sink = self._open_sink()
            elif not self._sink.is_in_place:
                self._on_mended(self._sink.put_back())
            before = self._sink.connection.total_changes
            readings = [reading for batch in batches for reading in batch]
            outcomes = self._sink.commit(jobs, readings, losses)
            while self._sink.said:
                self._on_mended(self._sink.said.pop(0))
        except Exception as error:  # whatever it is, the thread lives on and tries again
            self.answered_s = time.monotonic()
            self._failed(error, len(jobs), sum(map(len, batches)))
            return False
        if self._sink.connection.total_changes != before:
            self.answered_s = time.monotonic()
        self._waiting_since_s = None
        self.commit_s = time.monotonic() - began_s
        for job, result, refusal in outcomes:
            if not job.future.set_running_or_notify_cancel():
                continue
            if refusal is not None:
                job.future.set_exception(refusal)
            else:
                job.future.set_result(result)
        self._succeeded(self.commit_s)
        return True

    def _put_back(
        self, jobs: deque[WriteJob], batches: deque[Sequence[Tagged]], losses: list[Loss]
    ) -> None:
        with self._wake:
            self._jobs.extendleft(reversed(jobs))
            self._losses = losses + self._losses
            newer, self._readings = self._readings, batches
            self._held = sum(map(len, batches))
            for readings in newer:
                self._hold(readings)
            self._due_s = time.monotonic() if self._readings else None

    def _failed(self, error: Exception, jobs: int, readings: int) -> None:
        log.warning("database not written: %s", error, exc_info=not is_about_host(error))
        if is_damage(error):
            try:
                self._sink = self._replace(self._sink)
                self._retry_s = 0.0
                return
            except (sqlite3.Error, OSError, StoreError) as again:
                log.error("a damaged database could not be replaced: %s", again)
        pause_s = min(_LAST_RETRY_S, 2 * self._backoff_s) if self._trouble else _FIRST_RETRY_S
        self._backoff_s = pause_s
        self._retry_s = time.monotonic() + pause_s
        self._tell(describe(error, jobs, readings + self._held, self._lost))

    def _succeeded(self, took_s: float) -> None:
        self._retry_s = 0.0
        if took_s >= SLOW_COMMIT_S:
            self._tell(slow(took_s))
        elif self._trouble is not None:
            self._tell(None)

    def _tell(self, trouble: Trouble | None) -> None:
        """Tell of trouble when it begins, changes its nature, or ends."""
        before, self._trouble = self._trouble, trouble
        if trouble and before and trouble.message == before.message:
            return
        try:
            self._on_trouble(trouble)
        except Exception:
            log.exception("the store's trouble could not be told")

    def _finish(self) -> None:
        """Close the file; whoever still waits learns that it was not written."""
        with self._wake:
            left, self._jobs = self._jobs, deque()
        for job in left:
            if job.future.set_running_or_notify_cancel():
                job.future.set_exception(
                    StoreError("closed before the disk took it: this was not written")
                )
        if self._sink is None:
            return
        try:
            self._sink.close(pack_rest=not self._readings)
        except sqlite3.Error as error:
            log.warning("the database was closed without packing its last readings: %s", error)
