"""How the numbers of runs and channels in one file read in another that descends from it."""

from __future__ import annotations

import sqlite3

from pitlogger.store.sink import Sink


class Numbers:
    """How the numbers of runs and channels in the damaged file read in the new one."""

    def __init__(self) -> None:
        self._runs: dict[object, int] = {}
        self._channels: dict[object, int] = {}
        self._has_begun = False
        self.unended: set[int] = set()  # runs whose end the damaged file does not say

    def begin(self, sink: Sink) -> None:
        """Know those of the backup that the new file began as: they are the same."""
        if self._has_begun:
            return
        self._has_begun = True
        runs = sink.connection.execute("SELECT id FROM run WHERE id <> ?", (sink.run,))
        self._runs = {number: number for (number,) in runs}
        channels = sink.connection.execute("SELECT id FROM channel WHERE run <> ?", (sink.run,))
        self._channels = {number: number for (number,) in channels}

    def run(self, number: object) -> int | None:
        return self._runs.get(number)

    def channel(self, number: object) -> int | None:
        return self._channels.get(number)

    def take_runs(
        self,
        connection: sqlite3.Connection,
        columns: tuple[str, ...],
        rows: list[tuple[object, ...]],
    ) -> int:
        marks = ", ".join("?" * len(columns))
        names = ", ".join(columns)
        added = 0
        for row in rows:
            number, run = row[0], row[columns.index("run")]
            taken = connection.execute(
                "SELECT 1 FROM run WHERE id = ? AND run <> ?", (number, run)
            ).fetchone()
            added += connection.execute(
                f"INSERT OR IGNORE INTO run ({names}) VALUES ({marks})",
                (None if taken else number, *row[1:]),
            ).rowcount
            found = connection.execute("SELECT id FROM run WHERE run = ?", (run,)).fetchone()
            self._runs[number] = found[0]
            self._keep_end(connection, found[0], row[columns.index("end_ms")])
        return added

    def _keep_end(self, connection: sqlite3.Connection, number: int, end_ms: object) -> None:
        """Let a run that was put back from copies, or ended by a guess, end when it did."""
        if isinstance(end_ms, int):
            connection.execute(
                "UPDATE run SET end_ms = ?1 WHERE id = ?2 AND end_ms < ?1", (end_ms, number)
            )
        else:
            self.unended.add(number)

    def take_channels(
        self,
        connection: sqlite3.Connection,
        columns: tuple[str, ...],
        rows: list[tuple[object, ...]],
    ) -> int:
        added = 0
        for row in rows:
            fields = dict(zip(columns, row, strict=True))
            run = self._runs.get(fields["run"])
            if run is None:
                continue
            added += connection.execute(
                "INSERT INTO channel (run, name, quantity) VALUES (?, ?, ?)"
                " ON CONFLICT (run, name) DO NOTHING",
                (run, fields["name"], fields["quantity"]),
            ).rowcount
            self._channels[fields["id"]] = connection.execute(
                "SELECT id FROM channel WHERE run = ? AND name = ?", (run, fields["name"])
            ).fetchone()[0]
        return added

    def mapped(
        self, columns: tuple[str, ...], row: tuple[object, ...]
    ) -> tuple[object, ...] | None:
        """Return a row with the new numbers; ``None`` where what it refers to is gone."""
        out: list[object] = []
        for name, item in zip(columns, row, strict=True):
            if name in ("run", "finished_run") and item is not None:
                item = self._runs.get(item)  # noqa: PLW2901
                if item is None:
                    return None
            elif name == "channel" and isinstance(item, int):
                item = self._channels.get(item)  # noqa: PLW2901
                if item is None:
                    return None
            out.append(item)
        return tuple(out)
