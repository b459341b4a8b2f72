"""A record as a night leaves it, bytes of it turned or cut, and what a start makes of it.

``python -m tests.store.rot FLIPS CUTS`` does it to file and write-ahead log at random; the small
form runs with the tests. What counts: it starts every time, and every entry that was acknowledged
is there as it was, or somebody was told.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pitlogger import __version__
from pitlogger.model.journal import Noted
from pitlogger.store import Reader, Snapshot, Store, Trouble
from pitlogger.store.mending.preparing import prepare
from tests.store.conftest import START_MS, WAIT_S, entry, finished, reading, run_row, started

ENTRIES = 120
FILES = ("pitlogger.db", "pitlogger.db-wal", "pitlogger.db-entries")


@dataclass(slots=True)
class Outcome:
    """What became of a damaged record.

    Attributes:
        said: Everything somebody was told.
        lost: Entries that are not as they were, by their sequence.
    """

    said: list[str] = field(default_factory=list)
    lost: list[int] = field(default_factory=list)

    @property
    def is_silent(self) -> bool:
        """Whether something was lost and nobody told."""
        return bool(self.lost) and not self.said


def make_record(folder: Path) -> dict[int, str]:
    """Make a record of an ended run and a killed one; return the texts of the killed one's."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILES[0]
    with Store.open(path, run_row("run-0", START_MS - 10_000_000)) as store:
        store.append([started(1, "first", "run-0"), finished(2, "first", "run-0")]).result(WAIT_S)
    store = Store.open(path, run_row(version=__version__))
    texts = {}
    rows = [started(1, "second"), *(entry(n, Noted(f"note {n}", None)) for n in range(2, ENTRIES))]
    for row in rows:
        now_s = row.entry.seq * 10.0
        readings = [reading(now_s + n / 5, 60_000 + n) for n in range(20)]
        store.append([row._replace(cook="second")], readings).result(WAIT_S)
        texts[row.entry.seq] = row.text
        if row.entry.seq % 40 == 0:
            snapshot = Snapshot("run-1", row.entry.t_ms, "v", b"state" * 300)
            store.save_snapshot(snapshot).result(WAIT_S)
    killed = folder / "killed"
    killed.mkdir()
    for name in FILES:
        if (folder / name).exists():
            shutil.copy(folder / name, killed / name)
    store.close()
    return texts


def open_again(folder: Path, texts: dict[int, str]) -> Outcome:
    """Open a record as a start does, let it be checked whole, and compare.

    Raises:
        Exception: It does not start.
    """
    outcome = Outcome()

    def trouble(found: Trouble | None) -> None:
        if found is not None:
            outcome.said.append(found.message)

    path = folder / FILES[0]
    store = Store.open(
        path, run_row("run-2", START_MS + 9_000_000), on_trouble=trouble,
        on_mended=outcome.said.append, prepared=prepare(path, folder / "backups"),
    )  # fmt: skip
    store.append([entry(1, run="run-2")]).result(WAIT_S)
    if store._salvaging is not None:
        store._salvaging.join(WAIT_S)
    store._copying.submit(lambda: None).result(WAIT_S)  # after the check of the whole
    store.flush().result(WAIT_S)
    with Reader.open(path) as reader:
        reader.open_cooks()
        reader.snapshot("v")
        sum(1 for _ in reader.readings(None, 0, 1 << 60))
        found = {row.seq: row for row in reader.entries(run="run-1")}
        outcome.lost = [
            seq for seq, text in texts.items() if seq not in found or not _is_same(found[seq], text)
        ]
    store.close()
    return outcome


def _is_same(found: object, text: str) -> bool:
    from pitlogger.store import JournalRow

    return JournalRow.of(found).text == text  # type: ignore[arg-type]


def turned(content: bytearray, chance: random.Random) -> None:
    """Turn one bit of one byte."""
    content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)


def cut(content: bytearray, chance: random.Random) -> None:
    """Cut it short."""
    del content[chance.randrange(len(content)) :]


def spoil_one(
    made: Path, folder: Path, seed: int, how: Callable[[bytearray, random.Random], None]
) -> tuple[Path, str]:
    """Return a copy of a record with one of its files spoiled, and which."""
    chance = random.Random(seed)
    folder = folder / f"{how.__name__}-{seed}"
    shutil.copytree(made / "killed", folder)
    name = chance.choice([name for name in FILES if (folder / name).exists()])
    content = bytearray((folder / name).read_bytes())
    how(content, chance)
    (folder / name).write_bytes(content)
    return folder, name


def main(flips: int, cuts: int) -> int:
    """Spoil many records; print a line each that fails, and the sum. Return how many failed."""
    failed = told = whole = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        texts = make_record(folder / "made")
        for how, count in ((turned, flips), (cut, cuts)):
            for seed in range(count):
                spoiled, file = spoil_one(folder / "made", folder, seed, how)
                try:
                    outcome = open_again(spoiled, texts)
                except Exception as fault:
                    print(f"{how.__name__} {file} seed {seed}: does not start: {fault!r}")
                    failed += 1
                else:
                    failed += outcome.is_silent
                    told += bool(outcome.lost) and not outcome.is_silent
                    whole += not outcome.lost
                    if outcome.is_silent:
                        print(f"{how.__name__} {file} seed {seed}: lost {outcome.lost} in silence")
                shutil.rmtree(spoiled)
    print(f"{flips} flips and {cuts} cuts: {whole} whole, {told} with loss told, {failed} failed")
    return failed


if __name__ == "__main__":
    sys.exit(bool(main(*map(int, sys.argv[1:3]))))
