"""What the torture of the fleet is made of: servers, nodes that can be killed, and the judge."""

from __future__ import annotations

import asyncio
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pitlogger.hub.database import Database
from pitlogger.hub.opening import open_sink
from pitlogger.node.identity import node_key, uid_of
from pitlogger.uplink.join import join
from tools.fleet.judge import Rows, differences, of_hub, of_record
from tools.fleet.servers import CentralHub, Postgres, Process, until

SPEED = 200.0
DRAIN_S = 180.0


@dataclass(slots=True)
class TorturedNode:
    """A node's process and folder. ``gone``: what was sent from files that are no more."""

    folder: Path
    epoch_s: float
    name: str
    words: tuple[str, ...] = ()
    process: Process = field(init=False)
    gone: list[tuple[Rows, Rows]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)

    @property
    def uid(self) -> str:
        return uid_of(node_key(self.folder).public_key().public_bytes_raw())

    def start(self, *more: str) -> None:
        """Start a life and wait until its record is open."""
        alive = self.folder / "alive"
        alive.unlink(missing_ok=True)
        (self.folder / "still").unlink(missing_ok=True)
        self.process = Process(
            [sys.executable, "-m", "tests.torture.fleet.node", str(self.folder),
             repr(self.epoch_s), repr(SPEED), "--name", self.name, *self.words, *more],
            self.folder.parent / f"{self.folder.name}.log", Path.cwd(),
        )  # fmt: skip
        self.process.start()
        until(f"{self.name} lives", alive.exists)

    def kill(self) -> None:
        self.process.kill()

    def let_grow(self, grows: bool) -> None:
        assert self.process.running is not None
        self.process.running.send_signal(signal.SIGUSR2 if grows else signal.SIGUSR1)
        if not grows:
            until(f"{self.name} is still", (self.folder / "still").exists)

    def record(self) -> tuple[Rows, Rows]:
        """Return what it holds, and what it held in files that are no more."""
        journal, spans = of_record(self.folder / "pitlogger.db")
        for entries, packed in self.gone:
            journal, spans = {**entries, **journal}, {**packed, **spans}
        return journal, spans


class Stage:
    """All of it, begun."""

    def __init__(self, folder: Path, nodes: int, seed: int) -> None:
        self.rng = random.Random(seed)
        self.folder, self.compared = folder, 0
        self.nodes: list[TorturedNode] = []
        self._ends = ExitStack()
        with ExitStack() as begun:  # what was begun is ended where the rest does not begin
            begun.callback(self.end)
            self._begin(nodes)
            begun.pop_all()

    def _begin(self, nodes: int) -> None:
        folder = self.folder
        self.small = folder / "small"
        self._mount_small()
        self.server = Postgres(folder / "pg")
        self._ends.callback(self.server.stop)
        self.server.start()
        self._make_tables()
        self.server.run("createdb", "-D", "small", "fleet")
        self.hub = CentralHub(folder / "hub", self.server.address("fleet"))
        self._ends.callback(self.hub.stop)
        self.hub.start()
        self.epoch_s = time.time()
        for number in range(nodes):
            self.nodes.append(self.new_node(f"node-{number}"))

    def _mount_small(self) -> None:
        """Make a disk that can be filled; as root alone."""
        self.small.mkdir()
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=500m", "none", str(self.small)],
                       check=True)  # fmt: skip
        self._ends.callback(subprocess.run, ["umount", str(self.small)], check=True)

    def _make_tables(self) -> None:
        """Let the database keep its tables there."""
        tables = self.small / "tables"
        tables.mkdir()
        shutil.chown(tables, "postgres", "postgres")
        self.server.run("psql", "-d", "postgres", "-c",
                        f"CREATE TABLESPACE small LOCATION '{tables}'")  # fmt: skip

    def new_node(self, name: str, *words: str) -> TorturedNode:
        """Let a node join and start it."""
        code = self.hub.ask("invite", "--site", "yard")["code"]
        return self.joined_node(name, code, *words)

    def joined_node(self, name: str, code: str, *words: str) -> TorturedNode:
        """Let a node join by a code and start it."""
        node = TorturedNode(self.folder / name, self.epoch_s, name, words)
        asyncio.run(
            join(self.hub.address, code, node.folder, node_key(node.folder), node.uid, name)
        )
        node.start()
        return node

    def database(self) -> Database:
        return open_sink(self.hub.database).database

    def faults(self, *, all_of_it: bool, but: int = 0) -> list[str]:
        """Compare each node's record with the hub's; ``but``: contradictions that are meant."""
        database = self.database()
        said = []
        try:
            for node in self.nodes:
                # What the hub found is read first: it can only have what was on the card before.
                found = of_hub(database, node.uid)
                said += [f"{node.name}: {fault}" for fault in
                         differences(node.record(), found, all_of_it=all_of_it)]  # fmt: skip
            ((conflicts,),) = database.ask("SELECT count(*) FROM conflict")
            ((refused,),) = database.ask("SELECT count(*) FROM refused")
        finally:
            database.close()
        if conflicts != but or refused:
            said.append(f"{conflicts} contradictions, {refused} set aside")
        return said

    def settled(self, but: int = 0) -> list[str]:
        """Let the nodes grow no more and wait until the hub has all; return what it lacks."""
        for node in self.nodes:
            node.let_grow(False)
        ends_s = time.monotonic() + DRAIN_S
        while (said := self.faults(all_of_it=True, but=but)) and time.monotonic() < ends_s:
            time.sleep(0.5)
        self.compared += 1
        for node in self.nodes:
            node.let_grow(True)
        return said

    def sizes(self) -> dict[str, Any]:
        """Return how much the hub has."""
        database = self.database()
        try:
            ((entries,),) = database.ask("SELECT count(*) FROM journal")
            ((spans, readings),) = database.ask(
                "SELECT count(*), coalesce(sum(readings), 0) FROM span"
            )
        finally:
            database.close()
        return {"entries": entries, "spans": spans, "readings": int(readings)}

    def end(self) -> None:
        for node in self.nodes:
            node.kill()
        self._ends.close()
