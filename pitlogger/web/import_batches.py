"""A whole import taken back, or brought back by importing it again; append-only, cook by cook."""

from __future__ import annotations

from functools import partial

from pitlogger.errors import RefusedError
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model.folding import counted
from pitlogger.model.journal import CookWithdrawn, Undone
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow
from pitlogger.views.node import Node


async def _of_batch(node: Node, batch: str, *, withdrawn: bool) -> list[CookRow]:
    await node.flushed()

    def read(reader: Reader) -> list[CookRow]:
        return [row for row in reader.cooks(withdrawn=True)
                if row.batch == batch and row.withdrawn is withdrawn]  # fmt: skip

    return await node.ask(read)


async def put_on_record(node: Node, cooks: list[PaperCook], batch: str, by: str) -> int:
    """Put the cooks of an import on record, all or none; one that was taken back comes back.

    Returns how many were not in the lists before.
    """
    before = len(await _of_batch(node, batch, withdrawn=False)) if batch else 0
    await node.add_past(cooks)
    await bring_back(node, batch, by)
    return max(0, len(cooks) - before)


async def withdraw_batch(node: Node, batch: str, reason: str, by: str) -> int:
    """Take the cooks of an import out of lists and learning; return how many.

    Raises:
        RefusedError: None came with it, or all are withdrawn already.
    """
    rows = await _of_batch(node, batch, withdrawn=False)
    if not rows:
        raise RefusedError(f"nothing of '{batch}' is in the lists; nothing was changed")
    for row in rows:
        await node.submit(CookWithdrawn(row.id, reason), by, past=row.id)
    return len(rows)


async def bring_back(node: Node, batch: str, by: str) -> int:
    """Undo the withdrawal of an import's cooks; return how many there were."""
    rows = await _of_batch(node, batch, withdrawn=True) if batch else []
    for row in rows:
        entries = await node.ask(partial(Reader.entries, cook=row.id))
        for entry, body, _ in counted(entries):
            if isinstance(body, CookWithdrawn):
                await node.submit(Undone(entry.run, entry.seq), by, past=row.id)
    return len(rows)
