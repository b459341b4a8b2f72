"""What a day of the uplink costs the node: a lit pit, 16 channels at 1 Hz, over either way.

The uplink and its carrier are the real ones, against a real hub; the loop's time goes faster, so
that every look, keepalive and pause of a day is paid for. What the node pays anyway, keeping its
record and hearing of each entry, is measured by an hour without an uplink and taken off.
"""

from __future__ import annotations

import asyncio
import selectors
import sqlite3
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.model.journal import Body, Noted
from pitlogger.node.identity import node_key, uid_of
from pitlogger.store import Reader
from pitlogger.uplink.carrier import Carrier
from pitlogger.uplink.https import HttpsCarrier
from pitlogger.uplink.join import join
from pitlogger.uplink.joined import AUTHORITY_FILE
from pitlogger.uplink.mqtt import MqttCarrier
from pitlogger.uplink.service import Uplink
from pitlogger.views.fanout import Happening
from pitlogger.views.node import Node
from pitlogger.views.uplink import Joined
from tests.benchmarks.fleet.work import Work
from tests.benchmarks.row import Row
from tests.fleet.made import START_MS, make_store
from tools.fleet.pits import BLOCK_MS
from tools.fleet.servers import until

SPEED, HOURS, CHANNELS, AN_HOUR = 60, 1, 16, 3_600_000
# Of an hour, as in a cook of fourteen: those of the forecast go with the block, alerts at once.
KINDS = ("forecast-made",) * 27 + ("noted",) * 12 + ("alert-changed",) * 3
RUN = "k7qm-3v9xw2pd"
Due = tuple[int, str, int, str]  # when, its table, its key there, kind of an entry


class _FastSelector(selectors.EpollSelector):
    """Counts how often the loop looks whether something is to be done: a system call each."""

    looks = 0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        _FastSelector.looks += 1
        return super().select(None if timeout is None else timeout / SPEED)


class _FastLoop(asyncio.SelectorEventLoop):
    """A loop whose time goes ``SPEED`` times as fast as life."""

    def __init__(self) -> None:
        super().__init__(_FastSelector())

    def time(self) -> float:
        return super().time() * SPEED


def node(work: Work) -> Iterator[Row]:
    """Measure."""
    made: dict[str, Callable[[Joined, str, Path], Carrier]] = {
        "https": lambda hub, uid, data: HttpsCarrier(hub.address, uid, data / AUTHORITY_FILE),
        "mqtt": lambda hub, uid, data: MqttCarrier(hub, uid, node_key(data), data),
    }
    for name, carrier in made.items():
        data = work.hub.folder.parent / f"node-{name}"
        data.mkdir()
        due = _record(data)
        uid = uid_of(node_key(data).public_key().public_bytes_raw())
        code = work.hub.ask("invite", "--site", "yard")["code"]
        with asyncio.Runner() as runner:
            hub = runner.run(join(work.hub.address, code, data, node_key(data), uid, name))
        with asyncio.Runner(loop_factory=_FastLoop) as fast:
            spent_s = fast.run(_an_hour(work, data, uid, carrier(hub, uid, data), hub, due))
        with asyncio.Runner(loop_factory=_FastLoop) as fast:
            spent_s -= fast.run(_without(data, due))
        yield Row(f"fleet-node-{name}", spent_s * 24 / HOURS, "CPU-s a day")


def _record(data: Path) -> list[Due]:
    """Make a record of the hours whose rows wait in other tables; return when each is due."""
    bodies: list[Body] = [Noted(f"{'x' * 300} {number}") for number in range(len(KINDS) * HOURS)]
    seconds = HOURS * 3600 + 700  # the last block is packed once the next begins
    make_store(
        data / "pitlogger.db", RUN, channels=CHANNELS, seconds=seconds, bodies=bodies
    ).close()
    database = sqlite3.connect(data / "pitlogger.db")
    database.execute("UPDATE run SET end_ms = NULL")  # it goes on
    for table in ("packed", "journal"):
        database.execute(f"CREATE TABLE later_{table} AS SELECT * FROM {table}")
        database.execute(f"DELETE FROM {table}")
    database.execute(  # as blocks are written one after another
        "UPDATE later_packed SET id = 1000 * ((block_ms - ?) / ?) + channel", (START_MS, BLOCK_MS)
    )
    due = [
        (START_MS + seq * AN_HOUR // len(KINDS), "journal", seq, KINDS[seq * 5 % len(KINDS)])
        for (seq,) in database.execute("SELECT seq FROM later_journal")
    ]
    due += [(block_ms + BLOCK_MS, "packed", block_ms, "")
            for (block_ms,) in database.execute("SELECT DISTINCT block_ms FROM later_packed")
            if block_ms < START_MS + HOURS * AN_HOUR]  # fmt: skip
    database.commit()
    database.close()
    return sorted(due)


async def _an_hour(
    work: Work, data: Path, uid: str, carrier: Carrier, hub: Joined, due: list[Due]
) -> float:
    """Return the processor time that the hours took; infinite where not all of it arrived, s."""
    loop = asyncio.get_running_loop()
    clock = _clock()
    thread = ThreadPoolExecutor(1)
    reader = await loop.run_in_executor(thread, Reader.open, data / "pitlogger.db")

    async def ask(question: Callable[[Reader], Any]) -> Any:
        return await loop.run_in_executor(thread, question, reader)

    of_node = SimpleNamespace(
        clock=clock, engine=Engine(EngineState(RUN), load_policy()), run=RUN, cook="supper",
        uid=uid, ask=ask,
    )  # fmt: skip
    happenings: asyncio.Queue[Happening] = asyncio.Queue()
    uplink = Uplink(cast(Node, of_node), node_key(data), carrier, data, hub.hub, lambda fault: None)
    sending = asyncio.create_task(uplink.run(happenings))
    await asyncio.sleep(50)  # connected, and its first words said
    looks = _FastSelector.looks
    spent_s = await _lived(data, due, clock, happenings)
    looks = _FastSelector.looks - looks
    wanted = len(KINDS) * HOURS, CHANNELS * 6 * HOURS
    pit = cast(Any, SimpleNamespace(uid=uid))
    with suppress(TimeoutError):
        await asyncio.to_thread(until, "all of it", lambda: work.found([pit])[:2] == wanted, 60.0)
    found = work.found([pit])[:2]
    print(f"  found {found} of {wanted}; {looks * 24 // HOURS} looks of the loop a day, each"
          f" {_look_s() * 1e6:.0f} us with nothing to do", flush=True)  # fmt: skip
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    thread.shutdown()
    return spent_s if found == wanted else float("inf")


async def _without(data: Path, due: list[Due]) -> float:
    """Return the processor time of the same hours where nobody sends anything, s."""
    database = sqlite3.connect(data / "pitlogger.db")
    for table in ("packed", "journal"):
        database.execute(f"DELETE FROM {table}")
    database.commit()
    database.close()
    happenings: asyncio.Queue[Happening] = asyncio.Queue()
    return await _lived(data, due, _clock(), happenings)


async def _lived(
    data: Path, due: list[Due], clock: SimpleNamespace, happenings: asyncio.Queue[Happening]
) -> float:
    """Let rows come in when they are due; return the processor time of all that happened, s."""
    database = sqlite3.connect(data / "pitlogger.db")
    database.execute("PRAGMA synchronous = OFF")
    before_s = time.process_time()
    for at_ms, table, key, kind in due:
        await asyncio.sleep(max(at_ms - clock.engine_ms(), 0) / 1000)
        _move_in(database, table, key)
        if kind:
            happenings.put_nowait(Happening("entry", {"kind": kind}))
    await asyncio.sleep(61)  # the last block goes within a minute
    spent_s = time.process_time() - before_s
    database.close()
    return spent_s


def _clock() -> SimpleNamespace:
    """Return a clock of the loop's time that stands at the beginning."""
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    return SimpleNamespace(engine_ms=lambda: START_MS + round((loop.time() - began_s) * 1000))


def _move_in(database: sqlite3.Connection, table: str, key: int) -> None:
    """Move rows in that are due."""
    column = {"packed": "block_ms", "journal": "seq"}[table]
    database.execute(f"INSERT INTO {table} SELECT * FROM later_{table} WHERE {column} = ?", (key,))
    database.commit()


def _look_s(times: int = 500) -> float:
    """Return what it costs a bare loop to wake by a timer and rest again: the yardstick, s."""

    async def wake() -> None:
        for _ in range(times):
            await asyncio.sleep(0.001)

    def timed() -> float:
        before_s = time.thread_time()
        asyncio.run(wake())
        return (time.thread_time() - before_s) / times

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(timed).result()
