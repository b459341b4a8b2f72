"""A whole import taken back, or brought back by importing it again; append-only, cook by cook."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial

from pitlogger.bootstrap.cooks import past_run
from pitlogger.errors import RefusedError
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model import journal
from pitlogger.model.folding import counted
from pitlogger.questions import NO_ANSWERS, Answers
from pitlogger.store.queries import Reader
from pitlogger.store.rows import CookRow
from pitlogger.views.node import Node
from pitlogger.web.corrections import MOST_NAMED

REPLACE, BOTH = "replace what is there", "keep both"
ANEW = "read in anew"
HERE, SHEET, EACH = "what was logged here", "the sheet", "both of them"
NEAR_MS = 36 * 3_600_000  # a sheet knows the day; the fire may have been lit the evening before
ALIKE = 0.005


async def _rows(node: Node) -> list[CookRow]:
    await node.flushed()

    def read(reader: Reader) -> list[CookRow]:
        return reader.cooks(withdrawn=True)

    return await node.ask(read)


@dataclass(frozen=True, slots=True)
class ImportedBatches:
    """Cooks that were not in the lists before, and how many were withdrawn and stay out."""

    new: list[PaperCook]
    stay_out: int = 0

    @property
    def rows(self) -> int:
        """How many rows the new ones had: one a piece."""
        begun = (body for cook in self.new for _, body in cook.bodies)
        return sum(len(one.cook.pieces) for one in begun if isinstance(one, journal.CookStarted))


async def put_on_record(
    node: Node, cooks: list[PaperCook], batch: str, by: str, answers: Answers = NO_ANSWERS
) -> ImportedBatches:
    """Put the cooks of an import on record, all or none.

    What was taken back with its import, or gave way to another reading that was taken back,
    comes back; a cook that was withdrawn by itself stays out.

    Raises:
        QuestionError: The same file was read otherwise before, or cooks of the same name and time
            are on record with other figures, and nobody said whether these stand in their place.
    """
    named = {past_run(cook, "")[1][0].cook or "": cook for cook in cooks}
    rows = await _rows(node)
    listed = {row.id: row for row in rows if not row.withdrawn}
    whole = {row.batch for row in rows} - {row.batch for row in listed.values() if row.batch}
    back, out = [], set()
    for row in (row for row in rows if row.withdrawn and row.id in named):
        if row.batch in whole or await _gave_way(node, row, listed):
            back.append(row)
        else:
            out.add(row.id)
    new = {known: cook for known, cook in named.items() if known not in listed and known not in out}
    others = [row for row in listed.values() if row.id not in named]
    old = _instead(list(new.values()), others, batch, answers)
    live = await _logged_too(node, new, others)
    said = _which_counts(live.values(), answers)
    new = {known: cook for known, cook in new.items() if said != HERE or known not in live}
    old += live.values() if said == SHEET else ()
    held = {row.id for row in rows}
    await node.add_past([cook for known, cook in new.items() if known not in held])
    for row in old:
        await node.submit(journal.CookWithdrawn(row.id, ANEW), by, past=row.id)
    for row in back:
        for entry, _ in await _withdrawals(node, row):
            await node.submit(journal.Undone(entry.run, entry.seq), by, past=row.id)
    return ImportedBatches(list(new.values()), len(out))


async def _withdrawals(
    node: Node, row: CookRow
) -> list[tuple[journal.Entry, journal.CookWithdrawn]]:
    entries = await node.ask(partial(Reader.entries, cook=row.id))
    return [
        (one, body) for one, body, _ in counted(entries) if isinstance(body, journal.CookWithdrawn)
    ]


async def _gave_way(node: Node, row: CookRow, listed: Mapping[str, CookRow]) -> bool:
    """Return whether a cook was withdrawn for another reading of it that is gone too."""
    if any(_alike(one) == _alike(row) for one in listed.values()):
        return False
    return all(body.reason == ANEW for _, body in await _withdrawals(node, row))


def _alike(cook: CookRow | PaperCook) -> tuple[str, int]:
    """Return by what two readings of one cook are known for it: its name, and when it began."""
    began_ms = cook.started_ms if isinstance(cook, CookRow) else cook.start_ms
    return cook.name.casefold(), began_ms


def _instead(
    new: list[PaperCook], others: list[CookRow], batch: str, answers: Answers
) -> list[CookRow]:
    """Return the cooks on record that new ones stand in place of, as it was answered."""
    begun = {_alike(cook) for cook in new}
    old = [row for row in others if new and (
        (batch and row.batch == batch) or _alike(row) in begun
    )]  # fmt: skip
    if not old:
        return []
    names = ", ".join(dict.fromkeys(row.name for row in old[:MOST_NAMED])).replace(";", ",")
    more = f" and {len(old) - MOST_NAMED} more" if len(old) > MOST_NAMED else ""
    question = f"{names}{more}: on record already, with other figures or times. Which count?"
    return old if answers.choose(question, [REPLACE, BOTH], BOTH) == REPLACE else []


async def _logged_too(
    node: Node, new: Mapping[str, PaperCook], others: Iterable[CookRow]
) -> dict[str, CookRow]:
    """Return, by the ids of new cooks, those logged here that look like them.

    Of about the same day, and of the same name or with a mass in common.
    """
    found = {}
    asked = {_alike(cook) for cook in new.values()}  # about those that are the same pad or sheet
    for row in others:
        near = {known: cook for known, cook in new.items()
                if abs(cook.start_ms - row.started_ms) <= NEAR_MS}  # fmt: skip
        if not near or row.batch or row.finished_ms is None or _alike(row) in asked:
            continue
        entries = await node.ask(partial(Reader.entries, cook=row.id))
        here = _masses(body for _, body, _ in counted(entries))
        for known, cook in near.items():
            named = cook.name.casefold() == row.name.casefold()
            if named or _in_common(here, _masses(body for _, body in cook.bodies)):
                found[known] = row
    return found


def _masses(bodies: Iterable[journal.Body]) -> list[tuple[str, str, int]]:
    """Return cut, checkpoint and net milligrams of what was weighed."""
    cuts: dict[str, str] = {}
    found = []
    for body in bodies:
        if isinstance(body, journal.CookStarted):
            cuts |= {piece.id: piece.cut for piece in body.cook.pieces}
        elif isinstance(body, journal.PieceAdded):
            cuts[body.piece.id] = body.piece.cut
        elif isinstance(body, journal.Weighed):
            found.append((cuts.get(body.piece, ""), body.checkpoint, body.net_mg))
    return found


def _in_common(some: list[tuple[str, str, int]], others: list[tuple[str, str, int]]) -> bool:
    return any(a[:2] == b[:2] and abs(a[2] - b[2]) <= ALIKE * b[2] for a in some for b in others)


def _which_counts(rows: Iterable[CookRow], answers: Answers) -> str:
    names = list(dict.fromkeys(row.name.replace(";", ",") for row in rows))
    if not names:
        return EACH
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    question = f"{', '.join(names[:MOST_NAMED])}{more}: logged here too, so it seems. Which counts?"
    return answers.choose(question, [HERE, SHEET, EACH], EACH)


async def withdraw_batch(node: Node, batch: str, reason: str, by: str) -> int:
    """Take the cooks of an import out of lists and learning; return how many.

    Raises:
        RefusedError: None came with it, or all are withdrawn already.
    """
    rows = [row for row in await _rows(node) if row.batch == batch and not row.withdrawn]
    if not rows:
        raise RefusedError(f"nothing of '{batch}' is in the lists; nothing was changed")
    for row in rows:
        await node.submit(journal.CookWithdrawn(row.id, reason), by, past=row.id)
    return len(rows)
