"""Whether the journal says what it said when it was written, by its chain and its copies.

Each entry's chain is the SHA-256 of the chain before it in its run and its text (``schema.link``).
Where they do not fit, the entry after it decides which of the two was damaged. A damaged text is
put back from its copy where there is one; else a note takes its place under the same id, and
the damaged row goes to a file beside the database. An entry that is gone gets such a note too.
"""

from __future__ import annotations

import base64
import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Literal, NamedTuple

from pitlogger.formats.journal_json import dump_entry, load_entry
from pitlogger.model.entry_ids import short_id
from pitlogger.model.journal import Entry, Noted
from pitlogger.store.entry_copies import Copy
from pitlogger.store.records import refresh_cooks
from pitlogger.store.rows import JournalRow

MARK = "This entry was damaged on the disk"
_MARK_TEXT = f"{MARK} and is set aside: what it said is not known."
_MOST_NOTES = 1000  # for a gap; a longer one is reported without
_AT_ONCE = 2000

Reason = Literal["text", "chain", "gap", "columns"]
Copies = Mapping[tuple[str, int], Copy]


@dataclass(frozen=True, slots=True)
class JournalFault:
    """An entry that is not as it was: of run ``number`` called ``run``.

    Attributes:
        reason: Which part of it is wrong; ``gap``: entries before it are gone, from ``from_seq``.
    """

    number: int
    run: str
    seq: int
    reason: Reason
    from_seq: int = 0

    @property
    def id(self) -> str:
        return short_id(self.run, self.seq)


class _Row(NamedTuple):
    seq: int
    t_ms: object
    kind: object
    by: object
    key: object
    text: bytes
    chain: bytes


def check_journal(
    connection: sqlite3.Connection, stops: Callable[[], bool], newest: int | None = None
) -> Iterator[JournalFault]:
    """Yield what is wrong with the journal.

    Args:
        stops: Asked between runs.
        newest: Look at so many runs alone, those that began last.

    Raises:
        sqlite3.Error: The file itself is damaged.
    """
    runs = connection.execute(
        "SELECT id, CAST(run AS BLOB) FROM run ORDER BY id DESC LIMIT ?",
        (-1 if newest is None else newest,),
    ).fetchall()
    for number, run in runs:
        if stops():
            return
        yield from _check_run(connection, number, bytes(run).decode("utf-8", "replace"))


def _check_run(connection: sqlite3.Connection, number: int, run: str) -> Iterator[JournalFault]:
    before_seq, before = 0, b""
    is_known = True  # whether the chain before is
    rows = _with_next(_rows(connection, number))
    for row, following in rows:
        expected = sha256(before + row.text).digest()
        if is_known and row.chain != expected and not _is_mark(row.text):
            if row.seq != before_seq + 1:
                yield JournalFault(number, run, row.seq, "gap", before_seq + 1)
            elif following is not None and _links(expected, following):
                yield JournalFault(number, run, row.seq, "chain")
                row = row._replace(chain=expected)  # noqa: PLW2901
            else:
                yield JournalFault(number, run, row.seq, "text")
        elif not _is_mark(row.text) and not _columns_fit(row, run):
            yield JournalFault(number, run, row.seq, "columns")
        before_seq, before = row.seq, row.chain
        is_known = bool(row.chain)


def _rows(connection: sqlite3.Connection, number: int) -> Iterator[_Row]:
    last = -1
    while True:
        found = connection.execute(
            "SELECT seq, t_ms, CAST(kind AS BLOB), CAST(initials AS BLOB),"
            " CAST(request_key AS BLOB), CAST(entry AS BLOB), CAST(chain AS BLOB) FROM journal"
            " WHERE run = ? AND seq > ? ORDER BY seq LIMIT ?",
            (number, last, _AT_ONCE),
        ).fetchall()
        yield from (_Row(*row) for row in found)
        if len(found) < _AT_ONCE:
            return
        last = found[-1][0]


def _with_next(rows: Iterable[_Row]) -> Iterator[tuple[_Row, _Row | None]]:
    held: _Row | None = None
    for row in rows:
        if held is not None:
            yield held, row
        held = row
    if held is not None:
        yield held, None


def _links(chain: bytes, following: _Row) -> bool:
    return sha256(chain + following.text).digest() == following.chain


def _is_mark(text: bytes) -> bool:
    return MARK.encode() in text and b'"kind":"noted"' in text


def _columns_fit(row: _Row, run: str) -> bool:
    """Return whether an entry's columns say what its text says."""
    try:
        said = json.loads(row.text)
        return (said["run"], said["seq"], said["t_ms"]) == (run, row.seq, row.t_ms) and (
            said["kind"], said.get("by", ""), said.get("key", "")
        ) == (_str(row.kind), _str(row.by), _str(row.key))  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError):
        return False


def _str(value: object) -> str:
    return bytes(value).decode("utf-8", "replace") if isinstance(value, bytes) else ""


def mend_journal(
    connection: sqlite3.Connection, faults: Iterable[JournalFault], copies: Copies, aside: Path
) -> list[str]:
    """Inside a transaction: mend what is wrong; return a sentence an entry that is not whole.

    Args:
        aside: File that damaged rows are added to.

    Raises:
        OSError: That file cannot be written; nothing is to be committed then.
    """
    said: list[str] = []
    for fault in faults:
        copy = copies.get((fault.run, fault.seq))
        if fault.reason == "gap":
            said += _note_gone(connection, fault, copies)
        elif fault.reason == "chain":
            _rechain(connection, fault)
            said.append(f"{fault.id}: its checksum was damaged and is mended")
        elif copy is not None:
            _put_back(connection, fault, copy.row())
            said.append(f"{fault.id} was damaged and is put back from its copy")
        elif fault.reason == "columns" and (own := _own_row(connection, fault)) is not None:
            _put_back(connection, fault, own)
            said.append(f"{fault.id} was damaged and is mended")
        else:
            _set_aside(connection, fault, aside)
            said.append(f"{fault.id} was damaged and is set aside in {aside.name}")
    return said


def _own_row(connection: sqlite3.Connection, fault: JournalFault) -> JournalRow | None:
    """Return an entry by its own text, whose chain fits, where its columns do not."""
    text, cook = connection.execute(
        "SELECT CAST(entry AS BLOB), cook FROM journal WHERE run = ? AND seq = ?",
        (fault.number, fault.seq),
    ).fetchone()
    with suppress(Exception):  # whatever it is, it is no entry
        entry = load_entry(json.loads(text))
        if (entry.run, entry.seq) == (fault.run, fault.seq):
            return JournalRow(entry, bytes(text).decode(), cook)
    return None


def _put_back(connection: sqlite3.Connection, fault: JournalFault, row: JournalRow) -> None:
    entry = row.entry
    before = _chain_before(connection, fault)
    connection.execute(
        "UPDATE OR IGNORE journal SET t_ms = ?, kind = ?, initials = ?, request_key = ?,"
        " cook = ?, entry = ?, chain = ? WHERE run = ? AND seq = ?",
        (
            entry.t_ms, entry.body.kind, entry.by, entry.key or None, row.cook, row.text,
            sha256(before + row.text.encode()).digest(), fault.number, fault.seq,
        ),
    )  # fmt: skip
    refresh_cooks(connection, row.cooks)


def _chain_before(connection: sqlite3.Connection, fault: JournalFault) -> bytes:
    found = connection.execute(
        "SELECT chain FROM journal WHERE run = ? AND seq < ? ORDER BY seq DESC LIMIT 1",
        (fault.number, fault.seq),
    ).fetchone()
    return bytes(found[0]) if found else b""


def _rechain(connection: sqlite3.Connection, fault: JournalFault) -> None:
    (text,) = connection.execute(
        "SELECT CAST(entry AS BLOB) FROM journal WHERE run = ? AND seq = ?",
        (fault.number, fault.seq),
    ).fetchone()
    chain = sha256(_chain_before(connection, fault) + text).digest()
    connection.execute(
        "UPDATE journal SET chain = ? WHERE run = ? AND seq = ?", (chain, fault.number, fault.seq)
    )


def _set_aside(connection: sqlite3.Connection, fault: JournalFault, aside: Path) -> None:
    """Move a row into a file and let a note stand in its place; its chain stays."""
    row = connection.execute(
        "SELECT t_ms, CAST(entry AS BLOB) FROM journal WHERE run = ? AND seq = ?",
        (fault.number, fault.seq),
    ).fetchone()
    keep_aside(aside, fault.id, row[1])
    t_ms = row[0] if isinstance(row[0], int) else 0
    connection.execute(
        "UPDATE journal SET kind = 'noted', request_key = NULL, entry = ?"
        " WHERE run = ? AND seq = ?",
        (_mark_text(fault.run, fault.seq, t_ms), fault.number, fault.seq),
    )


def _note_gone(connection: sqlite3.Connection, fault: JournalFault, copies: Copies) -> list[str]:
    """Put back the entries that are gone before one, or a note for each."""
    gone = range(fault.from_seq, fault.seq)
    if len(gone) > _MOST_NOTES:
        return [f"{short_id(fault.run, gone[0])} to {short_id(fault.run, gone[-1])} are missing"]
    t_ms = connection.execute(
        "SELECT t_ms FROM journal WHERE run = ? AND seq = ?", (fault.number, fault.seq)
    ).fetchone()[0]
    said = []
    for seq in gone:
        copy = copies.get((fault.run, seq))
        text = _mark_text(fault.run, seq, t_ms) if copy is None else copy.text
        entry = load_entry(json.loads(text))
        connection.execute(
            "INSERT OR IGNORE INTO journal (run, seq, t_ms, kind, initials, request_key, cook,"
            " entry, chain) VALUES (?, ?, ?, ?, ?, ?, ?, ?, x'')",
            (fault.number, seq, entry.t_ms, entry.body.kind, entry.by, entry.key or None,
             copy.cooks[0] if copy and copy.cooks else None, text),
        )  # fmt: skip
        how = "and is put back from its copy" if copy else "and what it said is not known"
        said.append(f"{short_id(fault.run, seq)} was gone {how}")
        if copy is not None:
            refresh_cooks(connection, copy.cooks)
    return said


def _mark_text(run: str, seq: int, t_ms: int) -> str:
    document = dump_entry(Entry(run, seq, t_ms, Noted(_MARK_TEXT)))
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


def keep_aside(aside: Path, name: str, content: bytes) -> None:
    """Add something damaged to the file of what was set aside, on the disk.

    Raises:
        OSError: It cannot be written.
    """
    line = json.dumps({"what": name, "base64": base64.b64encode(bytes(content)).decode()})
    with aside.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
        file.flush()
        os.fsync(file.fileno())


def aside_of(database: Path) -> Path:
    """Return where damaged rows of a database are set aside."""
    return database.with_name(database.name + "-set-aside.jsonl")
