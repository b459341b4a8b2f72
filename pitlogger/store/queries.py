"""Questions to the database. A reader has a connection of its own and never writes."""

from __future__ import annotations

import json
import logging
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

from pitlogger.errors import PitloggerError, StoreError
from pitlogger.formats.journal_json import load_entry
from pitlogger.model.entry_ids import SEQ_DIGITS, parse_short_id
from pitlogger.model.journal import Entry
from pitlogger.store.charts import chart
from pitlogger.store.connection import connect_reader
from pitlogger.store.migrations import VERSION, version
from pitlogger.store.records import last_record_ms
from pitlogger.store.rows import (
    ChartLine,
    ClockRow,
    CookRow,
    LostRow,
    Notice,
    RunRow,
    Snapshot,
    StoredReading,
    columns,
)
from pitlogger.store.series import readings

_OF_COOK = (
    "(run, seq) IN (SELECT run, seq FROM journal WHERE cook = ?"
    " UNION ALL SELECT run, seq FROM entry_cook WHERE cook = ?)"
)
log = logging.getLogger(__name__)


def _offset(run: str, t_ms: str) -> str:
    """Return the expression for UTC less engine time of a run, at a time of it."""
    held = f"SELECT offset_ms FROM clock WHERE clock.run = {run}"
    return (
        f"coalesce(({held} AND from_ms <= {t_ms} ORDER BY from_ms DESC LIMIT 1),"
        f" ({held} ORDER BY from_ms LIMIT 1), 0)"
    )


_COOKS = (
    "SELECT cook.id, cook.name, run.run, started_ms, last.run, finished_ms, readings_kept,"
    " (SELECT count(*) FROM journal WHERE journal.cook = cook.id)"
    " + (SELECT count(*) FROM entry_cook WHERE entry_cook.cook = cook.id), withdrawn, run.batch, "
    + _offset("cook.run", "started_ms")
    + ", "
    + _offset("finished_run", "finished_ms")
    + " FROM cook JOIN run ON run.id = cook.run LEFT JOIN run AS last ON last.id = finished_run"
)


def _loaded(rows: Iterable[tuple[str, str | None]]) -> Iterator[tuple[Entry, str | None]]:
    """Yield the entries of rows with their cooks; one that is damaged must not hide the others.

    What it is, and what becomes of it, the check of the journal tells.
    """
    for text, cook in rows:
        try:
            entry = load_entry(json.loads(text))
        except (ValueError, KeyError, TypeError, AttributeError, PitloggerError) as fault:
            log.error("an entry cannot be read and is passed over: %s", fault)
            continue
        yield entry, cook


class Reader:
    """Answers questions from one thread.

    Where ``run`` is named, times are engine milliseconds of that run; where it is ``None``,
    they are UTC milliseconds and all runs are looked at.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        """Take over an open connection; ``Reader.open`` makes one."""
        self._connection = connection

    @classmethod
    def open(cls, path: Path) -> Reader:
        """Open the database at ``path`` read-only.

        Raises:
            StoreError: No such file, no pitlogger database, or another schema version.
        """
        if not path.is_file():
            raise StoreError(
                f"there is no database at {path}; it is made when the daemon first runs"
            )
        try:
            connection = connect_reader(path)
        except sqlite3.Error as error:
            raise StoreError(f"{path} cannot be opened: {error}") from None
        try:
            found = version(connection)
        except sqlite3.Error as error:
            connection.close()
            raise StoreError(f"{path} cannot be read: {error}") from None
        if found != VERSION:
            connection.close()
            raise StoreError(
                f"{path} has schema {found}, this version reads {VERSION}:"
                " start the daemon once, it brings the file up to date after a backup"
            )
        return cls(connection)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *raised: object) -> None:
        self.close()

    @contextmanager
    def rows(self) -> Iterator[Callable[..., sqlite3.Cursor]]:
        """Yield a way to ask in SQL; all that is asked sees the file as it stood at first."""
        self._connection.execute("BEGIN")
        try:
            yield self._connection.execute
        finally:
            self._connection.execute("ROLLBACK")

    def readings(
        self,
        channels: Sequence[str] | None,
        from_ms: int,
        to_ms: int,
        run: str | None = None,
    ) -> Iterator[StoredReading]:
        """Yield the readings with ``from_ms <= time < to_ms`` in order of time.

        ``channels`` of ``None`` means all. What waits for its commit (5 s at most) is not
        seen. ``t_ms`` of what is yielded is engine time of its run.
        """
        return readings(self._connection, channels, from_ms, to_ms, run)

    def chart(
        self,
        channels: Sequence[str],
        from_ms: int,
        to_ms: int,
        buckets: int,
        run: str | None = None,
    ) -> list[ChartLine]:
        """Return a line a channel, in ``buckets`` equal buckets over the span.

        Taken from rolled-up minutes where a bucket spans one or more, from ten-second parts
        where it spans one, else from the readings themselves. A rolled-up row counts where
        its middle lies.
        """
        return chart(self._connection, channels, from_ms, to_ms, buckets, run)

    def entries(
        self,
        *,
        cook: str | None = None,
        run: str | None = None,
        after: tuple[str, int] | None = None,
        kinds: Iterable[str] = (),
        limit: int | None = None,
    ) -> list[Entry]:
        """Return journal entries in the order written.

        Args:
            cook: Only of this cook.
            run: Only of this run.
            after: (run, seq): only what was written after that entry.
            kinds: Only of these kinds.
            limit: At most so many, the first ones.
        """
        return [entry for entry, _ in self.entries_with_cook(cook, run, after, kinds, limit)]

    def entries_with_cook(
        self,
        cook: str | None = None,
        run: str | None = None,
        after: tuple[str, int] | None = None,
        kinds: Iterable[str] = (),
        limit: int | None = None,
    ) -> list[tuple[Entry, str | None]]:
        """Return journal entries with the id of their cook; arguments as for ``entries``."""
        terms, given = ["1"], []  # type: tuple[list[str], list[object]]
        if cook is not None:
            terms.append(_OF_COOK)
            given += (cook, cook)
        if run is not None:
            terms.append("run = (SELECT id FROM run WHERE run.run = ?)")
            given.append(run)
        if after is not None:
            terms.append("(run, seq) > ((SELECT id FROM run WHERE run.run = ?), ?)")
            given += after
        if wanted := list(kinds):
            column = "kind" if len(terms) == 1 else "+kind"  # a cook's index narrows more
            terms.append(f"{column} IN ({', '.join('?' * len(wanted))})")
            given += wanted
        rows = self._connection.execute(
            f"SELECT entry, cook FROM journal WHERE {' AND '.join(terms)}"
            " ORDER BY run, seq LIMIT ?",
            (*given, -1 if limit is None else limit),
        )
        return list(_loaded(rows))

    def entry_texts(self, kinds: Iterable[str]) -> list[tuple[str | None, str]]:
        """Return the cook and the stored JSON text of the entries of some kinds, as written.

        For a thousand cooks at once, where reading each entry would take longer than to send it.
        """
        wanted = list(kinds)
        return self._connection.execute(
            f"SELECT cook, entry FROM journal WHERE kind IN ({', '.join('?' * len(wanted))})"
            " ORDER BY run, seq",
            wanted,
        ).fetchall()

    def entry(self, run: str, seq: int) -> Entry | None:
        """Return one entry by its identity."""
        return self._entry("run = (SELECT id FROM run WHERE run.run = ?) AND seq = ?", run, seq)

    def entries_by_id(self, text: str) -> list[tuple[Entry, str | None]]:
        """Return the entries that a short id, or ``run/seq``, names, each with its cook.

        One, or none; several only where records of earlier versions happen to share a tag.
        """
        if (named := parse_short_id(text)) is not None:
            where, given = "SELECT id FROM run WHERE tag = ?", named
        else:
            run, _, seq = text.rpartition("/")
            number = int(seq) if seq.isdecimal() and len(seq) <= SEQ_DIGITS else 0
            where, given = "SELECT id FROM run WHERE run.run = ?", (run, number)
        rows = self._connection.execute(
            f"SELECT entry, cook FROM journal WHERE run IN ({where}) AND seq = ?", given
        )
        return list(_loaded(rows))

    def chains(self, run: str, from_seq: int = 1) -> list[tuple[int, bytes]]:
        """Return sequence and chain of the entries of a run, from one on, in order."""
        rows = self._connection.execute(
            "SELECT seq, chain FROM journal WHERE run = (SELECT id FROM run WHERE run.run = ?)"
            " AND seq >= ? ORDER BY seq",
            (run, from_seq),
        )
        return [(seq, bytes(chain)) for seq, chain in rows]

    def entry_by_key(self, key: str) -> Entry | None:
        """Return the entry that a request with this idempotency key caused."""
        return self._entry("request_key = ?", key)

    def _entry(self, where: str, *given: object) -> Entry | None:
        row = self._connection.execute(
            f"SELECT entry FROM journal WHERE {where}",
            given,
        ).fetchone()
        found = [] if row is None else list(_loaded([(row[0], None)]))
        return found[0][0] if found else None

    def last_seq(self, run: str) -> int:
        """Return the sequence number of the last entry of a run, 0 if it has none."""
        found: int = self._connection.execute(
            "SELECT coalesce(max(seq), 0) FROM journal"
            " WHERE run = (SELECT id FROM run WHERE run.run = ?)",
            (run,),
        ).fetchone()[0]
        return found

    def last_ms(self, run: str) -> int:
        """Return the engine time of the last record of a run."""
        number = self._connection.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
        return last_record_ms(self._connection, number[0])

    def cooks(self, *, withdrawn: bool = False) -> list[CookRow]:
        """Return the cooks, the newest first; those withdrawn only if asked for."""
        return self._cooks("ORDER BY started_ms DESC", withdrawn)

    def open_cooks(self) -> list[CookRow]:
        """Return the cooks that were not finished, in the order they were entered."""
        return self._cooks("AND finished_ms IS NULL ORDER BY cook.run, started_ms")

    def _cooks(self, rest: str, withdrawn: bool = False) -> list[CookRow]:
        rows = self._connection.execute(f"{_COOKS} WHERE withdrawn <= ? {rest}", (withdrawn,))
        return [CookRow(*(*row[:6], bool(row[6]), row[7], bool(row[8]), *row[9:])) for row in rows]

    def runs(self) -> list[RunRow]:
        """Return the runs in the order they began."""
        rows = self._connection.execute(f"SELECT {columns(RunRow)} FROM run ORDER BY id")
        return [RunRow(*(*row[:6], bool(row[6]), *row[7:])) for row in rows]

    def clocks(self, run: str | None = None) -> list[ClockRow]:
        """Return the offsets to UTC, of one run or all, in order of time."""
        rows = self._connection.execute(
            "SELECT run.run, from_ms, offset_ms, trusted FROM clock JOIN run ON run.id = clock.run"
            " WHERE ?1 IS NULL OR run.run = ?1 ORDER BY run.id, from_ms",
            (run,),
        )
        return [ClockRow(*(*row[:3], bool(row[3]))) for row in rows]

    def channels(self, run: str | None = None) -> list[str]:
        """Return the names of the channels that have readings, of one run or all."""
        rows = self._connection.execute(
            "SELECT name FROM channel JOIN run ON run.id = channel.run"
            " WHERE ?1 IS NULL OR run.run = ?1 GROUP BY name ORDER BY min(channel.id)",
            (run,),
        )
        return [name for (name,) in rows]

    def snapshot(self, version: str | None = None) -> Snapshot | None:
        """Return the newest engine snapshot, of this version if one is named."""
        row = self._connection.execute(
            "SELECT run.run, t_ms, snapshot.version, body FROM snapshot"
            " JOIN run ON run.id = snapshot.run WHERE ?1 IS NULL OR snapshot.version = ?1"
            " ORDER BY snapshot.id DESC LIMIT 1",
            (version,),
        ).fetchone()
        try:
            return None if row is None else Snapshot(*(*row[:3], zlib.decompress(row[3])))
        except (zlib.error, TypeError) as fault:
            log.error("a snapshot cannot be read: %s", fault)
            return None

    def outbox(self, *, due_ms: int | None = None) -> list[Notice]:
        """Return the notices not done, the next first; only those due by then if given."""
        return self._notices(
            "NOT done AND (?1 IS NULL OR next_try_ms <= ?1) ORDER BY next_try_ms, created_ms, id",
            due_ms,
        )

    def handed_in(self, since_ms: int) -> list[Notice]:
        """Return the notices made since a UTC time, sent and given up ones too, oldest first."""
        return self._notices("created_ms >= ? ORDER BY created_ms, id", since_ms)

    def _notices(self, where: str, given: int | None) -> list[Notice]:
        rows = self._connection.execute(
            f"SELECT {columns(Notice)} FROM outbox WHERE {where}", (given,)
        )
        return [Notice(*(*row[:8], bool(row[8]))) for row in rows]

    def lost(self) -> list[LostRow]:
        """Return the readings on record as lost."""
        rows = self._connection.execute(
            "SELECT run.run, from_ms, to_ms, readings, reason FROM lost"
            " JOIN run ON run.id = lost.run ORDER BY lost.id"
        )
        return [LostRow(*row) for row in rows]

    def facts(self) -> dict[str, object]:
        """Return what ``doctor`` shows: sizes in bytes, counts, versions, soundness."""
        return facts(self._connection)


def facts(connection: sqlite3.Connection) -> dict[str, object]:
    """Return sizes, counts, versions and the result of a quick check of an open database."""

    def one(statement: str) -> int:
        return int(connection.execute(statement).fetchone()[0])

    with closing(connection.execute("PRAGMA quick_check(3)")) as cursor:
        check = [row[0] for row in cursor]
    page = one("PRAGMA page_size")
    packed = one("SELECT coalesce(sum(readings), 0) FROM packed")
    return {
        "sqlite": sqlite3.sqlite_version,
        "schema": one("PRAGMA user_version"),
        "sound": check == ["ok"],
        "faults": [] if check == ["ok"] else check,
        "size_bytes": page * one("PRAGMA page_count"),
        "free_bytes": page * one("PRAGMA freelist_count"),
        "runs": one("SELECT count(*) FROM run"),
        "cooks": one("SELECT count(*) FROM cook"),
        "entries": one("SELECT count(*) FROM journal"),
        "readings": packed + one("SELECT coalesce(sum(readings), 0) FROM tail"),
        "lost_readings": one("SELECT coalesce(sum(readings), 0) FROM lost"),
        "notices_waiting": one("SELECT count(*) FROM outbox WHERE NOT done"),
    }
