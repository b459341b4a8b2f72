"""The store as the daemon holds it: one writer thread, one reader thread, one file."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from pitlogger.errors import StoreError
from pitlogger.model.readings import Tagged
from pitlogger.store import records, retention
from pitlogger.store.backup import back_up, keep_newest
from pitlogger.store.connection import connect_reader, connect_writer
from pitlogger.store.mending.damage import JOURNAL_TABLES, replace_file, save, unsaved
from pitlogger.store.mending.healing import put_back_missing
from pitlogger.store.mending.preparing import Prepared, prepare, refuse_used
from pitlogger.store.mending.soundness import after
from pitlogger.store.mending.whole_check import look_over_whole
from pitlogger.store.queries import Reader
from pitlogger.store.reader_thread import Answer, ReaderThread
from pitlogger.store.rows import ClockRow, JournalRow, Notice, RunRow, Snapshot, Trouble
from pitlogger.store.sink import Sink
from pitlogger.store.troubles import damaged, is_damage
from pitlogger.store.writer import MAX_WAITING, Writer

log = logging.getLogger(__name__)

FIRST_AID_S = 5.0
WEEK_S = 7 * 86_400.0


def _untold(trouble: Trouble | None) -> None:
    if trouble is not None:
        log.error("%s. %s", trouble.message, trouble.remedy)


class Store:
    """Keeps what one run decides and measures, and answers questions about every run.

    All methods may be called from any thread and never wait for the disk, but ``open``,
    ``close`` and ``reader``. Use ``asyncio.wrap_future`` to await a future.
    """

    def __init__(
        self,
        path: Path,
        run: RunRow,
        on_trouble: Callable[[Trouble | None], None],
        backups: Path,
        on_mended: Callable[[str], None] = log.error,
    ) -> None:
        """Only remember what is given; ``Store.open`` opens."""
        self.path = path
        self.run = run
        self.backups = backups
        self._on_trouble = on_trouble
        self._on_mended = on_mended
        self._number: int | None = None  # of the run, where the file was damaged on opening
        self._prepared: Prepared | None = None
        self._reading = ReaderThread(path, self._unreadable)
        self._copying = ThreadPoolExecutor(1, thread_name_prefix="pitlogger-backup")
        self._salvaging: threading.Thread | None = None
        self._closing = threading.Event()
        self._opened: Writer | None = None
        self._next_check: threading.Timer | None = None

    @classmethod
    def open(
        cls,
        path: Path,
        run: RunRow,
        *,
        on_trouble: Callable[[Trouble | None], None] | None = None,
        on_mended: Callable[[str], None] = log.error,
        prepared: Prepared | None = None,
        backups: Path | None = None,
        batch_s: float = 4.8,
        max_waiting: int = MAX_WAITING,
    ) -> Store:
        """Open or create the database at ``path`` and begin ``run`` in it.

        An older schema is migrated after a backup into ``backups`` (default: the folder
        ``backups`` beside the file). A file that is no sound database is moved aside, a new
        one begun from the newest good backup, and what can be read of the old is salvaged
        while logging goes on; ``on_trouble`` is called.

        Args:
            path: Database file.
            run: This process life; its id must be new.
            on_trouble: Called from the writer thread with a ``Trouble`` when writing fails,
                and with ``None`` when it works again.
            on_mended: Called from any thread with a sentence about damage that is mended.
            prepared: What ``prepare`` found, where it was called before.
            backups: Folder of backups.
            batch_s: Longest time that readings wait for their commit, seconds, at most 5.
            max_waiting: Readings kept in memory while the disk refuses; beyond that the
                oldest are given up and counted on record.

        Raises:
            StoreError: Made by a newer version, another program's file, a run id already
                used, or a folder that cannot be written.
        """
        if not 0 < batch_s <= 5:
            raise StoreError(f"batch_s is {batch_s:g}; expected more than 0 and at most 5 seconds")
        folder = backups or path.parent / "backups"
        store = cls(path, run, on_trouble or _untold, folder, on_mended)
        store._prepared = prepared or prepare(path, folder)
        refuse_used(path, run.run)
        store._opened = Writer(
            store._open_sink, store._replace_sink, store._on_mended, store._on_trouble, batch_s,
            max_waiting,
        )  # fmt: skip
        store._take_up(store._prepared)
        return store

    def append(
        self,
        entries: Sequence[JournalRow] = (),
        readings: Sequence[Tagged] = (),
        notices: Sequence[Notice] = (),
    ) -> Future[None]:
        """Write entries and notices at once, readings with them.

        Returns a future resolved once all is on disk (``synchronous=FULL``), not before:
        an entry is not published earlier. While the disk refuses, it stays pending.
        It fails with ``RefusedError`` if an entry's idempotency key belongs to another
        entry, or its (run, seq) to one that says something else; nothing of the call is then
        written but the readings. An entry appended twice is kept once.
        """

        def work(sink: Sink) -> None:
            sink.append_entries(entries)
            for notice in notices:
                records.put_notice(sink.connection, notice)

        return self._writer.submit(work, readings)

    def add_readings(self, readings: Sequence[Tagged]) -> None:
        """Keep readings with the next commit, at most ``batch_s`` from now.

        The sequence must not be changed afterwards.
        """
        self._writer.add(readings)

    def flush(self) -> Future[None]:
        """Commit what waits now; the future is resolved after the commit."""
        return self._writer.submit(lambda sink: None)

    def add_run(
        self,
        run: RunRow,
        entries: Sequence[JournalRow],
        readings: Sequence[Tagged],
        quantities: Mapping[str, str] | None = None,
    ) -> Future[None]:
        """Record another run, as for an import, whole or in parts; twice does no harm.

        The entries must be of that run, and ``run.end_ms`` be given. ``quantities`` says what
        its channels measure.
        """

        def work(sink: Sink) -> None:
            sink.add_run(run, readings, quantities or {})
            sink.append_entries(entries)

        return self._writer.submit(work)

    def add_runs(self, runs: Sequence[tuple[RunRow, Sequence[JournalRow]]]) -> Future[None]:
        """Record other runs whole, without readings, in one transaction: all of them or none."""

        def work(sink: Sink) -> None:
            for run, entries in runs:
                records.begin_run(sink.connection, run)
                sink.append_entries(entries)

        return self._writer.submit(work)

    def beat(self) -> Future[None]:
        """Write something that changes nothing, as a proof that writing works."""

        def work(sink: Sink) -> None:
            sink.connection.execute("UPDATE run SET node = node WHERE id = ?", (sink.run,))

        return self._writer.submit(work)

    @property
    def answered_s(self) -> float:
        """When the disk last took a real write or refused one, seconds of ``time.monotonic``."""
        return self._writer.answered_s

    @property
    def commit_s(self) -> float:
        """Seconds that the last commit took, with its wait for the disk."""
        return self._writer.commit_s

    def describe(self, channel: str, quantity: str) -> Future[None]:
        """Record what a channel measures (``temperature``, ``mass``...), for other programs."""

        def work(sink: Sink) -> None:
            sink.connection.execute(
                "UPDATE channel SET quantity = ? WHERE id = ?", (quantity, sink.channel(channel))
            )

        return self._writer.submit(work)

    def set_clock(self, clock: ClockRow) -> Future[None]:
        """Record that UTC became known or was stepped.

        A row whose ``from_ms`` lies in the past repairs all that was written since then.
        """
        return self._writer.submit(lambda sink: records.set_clock(sink.connection, clock))

    def save_snapshot(self, snapshot: Snapshot) -> Future[None]:
        """Keep an engine snapshot; the newest three stay."""
        return self._writer.submit(lambda sink: records.save_snapshot(sink.connection, snapshot))

    def update_notice(self, notice: Notice) -> Future[None]:
        """Overwrite a notice of the outbox (tries, next try, last error, done)."""
        return self._writer.submit(lambda sink: records.put_notice(sink.connection, notice))

    def thin_before(self, utc_ms: int) -> Future[int]:
        """Thin the readings of runs that ended by then; resolves to how many were dropped.

        What the food log needs of them stays, and so do journal and rolled-up rows.
        """
        return self._copying.submit(retention.thin_before, self._do, utc_ms, self._closing.is_set)

    def _do(self, work: Callable[[Sink], Any]) -> Any:
        return self._writer.submit(work).result()

    def forget_notices(self, utc_ms: int) -> Future[int]:
        """Drop notices made before then that are sent or given up; resolves to how many."""
        return self._writer.submit(lambda sink: retention.forget_notices(sink.connection, utc_ms))

    def backup(self, folder: Path | None = None, keep: int | None = None) -> Future[Path]:
        """Copy the database online into ``folder``, verify the copy, resolve to its path.

        Args:
            folder: Where to; by default the folder of backups.
            keep: How many backups stay in the folder; ``None`` for all.
        """

        def copy() -> Path:
            self.flush().result()
            with closing(connect_reader(self.path)) as connection:
                made = back_up(connection, folder or self.backups)
            if keep is not None:
                keep_newest(made.parent, keep)
            return made

        return self._copying.submit(copy)

    def reader(self) -> Reader:
        """Return a new reader for the calling thread; close it after use."""
        return Reader.open(self.path)

    def ask(self, question: Callable[[Reader], Answer]) -> Future[Answer]:
        """Run ``question`` with the reader thread's reader; see ``ReaderThread.ask``."""
        return self._reading.ask(question)

    def _unreadable(self, error: Exception) -> None:
        if is_damage(error):
            self.replace_damaged(error)

    def replace_damaged(self, error: Exception) -> Future[None]:
        """Go on in a new file since this one is damaged, as ``open`` does; once is enough."""
        damaged_file = self.path.stat().st_ino

        def work(sink: Sink) -> None:
            if self.path.stat().st_ino == damaged_file:
                raise sqlite3.DatabaseError(str(error))

        return self._writer.submit(work)

    @property
    def wait_s(self) -> float:
        """Seconds that the oldest unwritten entry has been waiting; 0 if none is."""
        return self._writer.wait_s

    def close(self) -> None:
        """Flush, pack the last readings, end the run and the threads; at most about 2 s."""
        if self._closing.is_set():
            return
        self._closing.set()
        if self._next_check is not None:
            self._next_check.cancel()
        if self._salvaging is not None:
            self._salvaging.join()
        self._copying.shutdown(cancel_futures=True)
        self._writer.close()
        self._reading.close()
        with suppress(sqlite3.Error):  # the last to close leaves one file, without its log
            connect_writer(self.path).close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *raised: object) -> None:
        self.close()

    @property
    def _writer(self) -> Writer:
        assert self._opened is not None, "made by Store.open"
        return self._opened

    def _take_up(self, found: Prepared) -> None:
        """Tell what was found on opening, and go on with what could not be done before."""
        for words in found.said:
            self._on_mended(words)
        if found.aside is not None:
            self._on_trouble(damaged(found.aside, found.backup))
            self._number = found.number
            with suppress(StoreError):  # the journal first: alarms are judged by it
                save(found.aside, self._do, after(FIRST_AID_S), JOURNAL_TABLES)
        if found.aside is not None or unsaved(self.path):  # or the last run ended meanwhile
            self._salvaging = self._salvager()
            self._salvaging.start()
        else:
            self._copying.submit(self._look_over)

    def _look_over(self) -> None:
        """Check the whole file beside the work; what is damaged is mended, or it is replaced."""
        try:
            for words in look_over_whole(self.path, self._do, self._closing.is_set):
                self._on_mended(words)
        except Exception as error:  # whatever it is, the check must end nothing else
            if isinstance(error, sqlite3.Error) and is_damage(error):
                self.replace_damaged(error)
            elif not self._closing.is_set():
                log.exception("the record could not be checked")
        if not self._closing.is_set():
            again = threading.Timer(WEEK_S, self._check_again)
            again.daemon = True
            again.start()
            self._next_check = again

    def _check_again(self) -> None:
        with suppress(RuntimeError):  # closed meanwhile
            self._copying.submit(self._look_over)

    def _open_sink(self) -> Sink:
        if self._prepared is not None and self._prepared.fault is not None:
            found = prepare(self.path, self.backups)
            if found.fault is not None:
                raise found.fault
            self._prepared, self._number = found, found.number
            for words in found.said:
                self._on_mended(words)
        return Sink(self.path, self.run, self._number)

    def _replace_sink(self, broken: Sink | None) -> Sink:
        """Go on in a new file after damage was met while writing."""
        if broken is not None:
            with suppress(sqlite3.Error):
                broken.connection.close()
        self._replace_file()
        if broken is None:
            return self._open_sink()
        return Sink(self.path, self.run, broken.run, broken.waiting)

    def _replace_file(self) -> None:
        aside, backup = replace_file(self.path, self.backups)
        self._on_trouble(damaged(aside, backup))
        for words in put_back_missing(self.path):
            self._on_mended(words)
        self._salvaging = self._salvager()
        if self._opened is not None:
            self._salvaging.start()

    def _salvager(self) -> threading.Thread:
        return threading.Thread(target=self._salvage, name="pitlogger-salvage", daemon=True)

    def _salvage(self) -> None:
        """Save what can be read of damaged files, those of an earlier run too."""
        for aside in unsaved(self.path):
            try:
                saved = save(aside, self._do, self._closing.is_set)
            except Exception:  # a fault in what is damaged anyway must not hide that it is over
                log.exception("%s was not saved to its end", aside)
                saved = 0
            self._on_mended(
                f"the database was damaged: {saved} records were saved from {aside} into a new one"
            )
        self._on_trouble(None)
        with suppress(RuntimeError):  # closed meanwhile
            self._copying.submit(self._look_over)
