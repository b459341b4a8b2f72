"""A damaged database: told, moved aside, rebuilt from the backup and what can be read; logging
goes on meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from random import Random

from pitlogger.model.journal import AlertChanged
from pitlogger.store import Reader
from pitlogger.store.backup import back_up
from pitlogger.store.connection import connect_reader
from tests.torture.ledger import Ledger, faults_of, held_in, writing
from tests.torture.node import Node, node, until
from tests.torture.row import Row

PAGE = 2048

Damage = Callable[[bytearray, Random], None]


def _first_page(content: bytearray, dice: Random) -> None:
    content[:PAGE] = dice.randbytes(PAGE)


def _cut_short(content: bytearray, dice: Random) -> None:
    del content[len(content) // 3 :]


def _scattered(content: bytearray, dice: Random) -> None:
    pages = len(content) // PAGE
    for _ in range(max(2, pages // 6)):
        at = dice.randrange(1, pages) * PAGE
        content[at : at + PAGE] = dice.randbytes(PAGE)


def _nothing_left(content: bytearray, dice: Random) -> None:
    content[:] = dice.randbytes(len(content))


DAMAGES: dict[str, Damage] = {
    "first page": _first_page,
    "cut short": _cut_short,
    "pages overwritten": _scattered,
    "every byte overwritten": _nothing_left,
}


def damage(folder: Path, seed: int) -> list[Row]:
    """Return a row a kind of damage."""
    return [
        _row(folder / name.replace(" ", "-"), name, spoil, seed) for name, spoil in DAMAGES.items()
    ]


def _row(folder: Path, name: str, spoil: Damage, seed: int) -> Row:
    dice = Random(seed)
    faults: list[str] = []
    with node(folder) as worn:
        worn.start()
        worn.start_cook()
        with writing(worn, seed, pause_s=0.02) as before:
            until("entries are written", lambda: len(before.ledger.told) > 60)
        worn.stop()
        saved = set(before.ledger.told)
        _back_up(worn)
        worn.start()
        with writing(worn, seed + 1, pause_s=0.02) as since:
            until("entries are written", lambda: len(since.ledger.told) > 60)
        worn.stop()
        content = bytearray(worn.database.read_bytes())
        spoil(content, dice)
        worn.database.write_bytes(content)
        worn.start()
        with writing(worn, seed + 2, pause_s=0.05) as after:
            until("logging goes on", lambda: len(after.ledger.told) > 10)
            told_s = until("it is over", lambda: worn.get("/status")["store"] is None, 20.0)
        worn.stop()
        held = held_in(worn.database)
        if not _was_told(worn):
            faults.append("nobody was told")
        must = Ledger({**before.ledger.told, **after.ledger.told})
        faults += faults_of(held, must, torn=True)
        faults += [f"refused: {text}" for text in (*since.refused, *after.refused)]
        if not list(worn.data.glob("pitlogger.db.damaged-*")):
            faults.append("the damaged file was not moved aside")
        rescued = len(set(since.ledger.told) & held.keys.keys())
    shown = (
        f"{len(saved)} of the backup kept, {rescued} of {len(since.ledger.told)} since it rescued;"
        f" over after {told_s:.1f} s"
    )
    return Row("damage", f"database damaged: {name}", 1, faults, shown, seed)


def _was_told(worn: Node) -> bool:
    with Reader.open(worn.database) as reader:
        bodies = [entry.body for entry in reader.entries(run=reader.runs()[-1].run)]
    return any(
        isinstance(body, AlertChanged)
        and body.alert_kind == "store-failing"
        and "damaged" in body.message
        for body in bodies
    )


def _back_up(worn: Node) -> None:
    """Back the database up as the store does."""
    with closing(connect_reader(worn.database)) as connection:
        back_up(connection, worn.data / "backups")
