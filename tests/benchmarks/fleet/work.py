"""A hub by itself at work: pits at their pace, a storm of all at once, nodes that were away."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from pitlogger.formats.bundle import Bundle, NowPart
from pitlogger.hub.opening import open_sink
from tests.benchmarks.fleet.ingest import cpu_s
from tests.benchmarks.row import Row
from tools.fleet.pits import BLOCK_MS, START_MS, Pit, Senders, enrol, let_in, make_pits
from tools.fleet.pits import simulated_cook as cook_of
from tools.fleet.servers import FIRM, CentralHub, Postgres

DAYS_AWAY = 3
NOW_TEXT = '{"cook":"supper","name":"supper","pieces":[{"id":"butt-1","stage":"smoking"}]}'


class Work:
    """A hub and its pits; each measurement takes new pits. ``ingest_rate``: rows/CPU-s."""

    def __init__(self, server: Postgres, folder: Path, ingest_rate: float) -> None:
        self.server, self.ingest_rate = server, ingest_rate
        server.run("createdb", "work")
        self.hub = CentralHub(folder / "hub", server.address("work"))
        let_in(self.hub.folder)
        self.hub.start()
        self._seed = 100

    def pits(self, number: int) -> list[Pit]:
        self._seed += 1
        made = make_pits(number, self._seed)
        sink = open_sink(self.hub.database)
        enrol(sink, FIRM, made)
        sink.database.close()
        return made

    def senders(self) -> Senders:
        return Senders("127.0.0.1", self.hub.broker_port, self.hub.folder)

    def found(self, pits: Sequence[Pit]) -> tuple[int, int, int]:
        """Return entries, spans and readings that the hub has of pits."""
        database = open_sink(self.hub.database).database
        marks = ", ".join("?" * len(pits))
        nodes = f"(SELECT id FROM node WHERE uid IN ({marks}))"
        uids = [pit.uid for pit in pits]
        ((entries,),) = database.ask(f"SELECT count(*) FROM journal WHERE node IN {nodes}", uids)
        ((spans, readings),) = database.ask(
            f"SELECT count(*), coalesce(sum(readings), 0) FROM span WHERE node IN {nodes}", uids
        )
        database.close()
        return entries, spans, int(readings)


def of_bundles(bundles: Sequence[Bundle], pits: int) -> tuple[int, int, int]:
    """Return entries, spans and readings that so many pits send."""
    spans = [span for bundle in bundles for span in bundle.spans]
    entries = sum(len(bundle.entries) for bundle in bundles)
    return entries * pits, len(spans) * pits, sum(span.readings for span in spans) * pits


def away(work: Work, nodes: int, limit_s: float) -> Iterator[Row]:
    """Nodes come back after three days and send all of it, four bundles at a time."""
    pits, bundles = work.pits(nodes), cook_of(DAYS_AWAY * 24, every_s=5)
    senders = work.senders()
    for pit in pits:
        for number, bundle in enumerate(bundles, 1):
            senders.put(pit.uid, pit.first + number, pit.tells(bundle, number))
    began_s = time.monotonic()
    whole = asyncio.run(senders.run(began_s + limit_s))
    took_s = time.monotonic() - began_s
    is_all = whole and work.found(pits) == of_bundles(bundles, nodes)
    yield Row(f"fleet-away-{nodes}", took_s if is_all else float("inf"), "s")


def storm(work: Work, nodes: int, limit_s: float) -> Iterator[Row]:
    """All send a bundle at once: how often is each sent until it is confirmed?"""
    pits, (bundle,) = work.pits(nodes), cook_of(1 / 6, every_s=5)
    senders = work.senders()
    for pit in pits:
        senders.put(pit.uid, pit.first + 1, pit.tells(bundle, 1))
    began_s = time.monotonic()
    whole = asyncio.run(senders.run(began_s + limit_s))
    told = senders.counted
    is_all = whole and work.found(pits) == of_bundles([bundle], nodes)
    sends = (told.sent + told.resent) / nodes if is_all else float("inf")
    yield Row(f"fleet-storm-{nodes}", sends, "sends a bundle")
    yield Row(f"fleet-storm-{nodes}-receipt", told.percentile(0.5), "s, middle")


def pace(work: Work, nodes: int, minutes: int) -> Iterator[Row]:
    """Pits at their true pace: a bundle in ten minutes, how things stand each minute."""
    pits, (bundle,) = work.pits(nodes), cook_of(1 / 6)
    row = replace(bundle, spans=(), entries=())
    senders = work.senders()
    began_s = time.monotonic()
    made_s = nodes * minutes / 2000  # signing all of it before the first is due
    start_s = began_s + made_s + 5
    for at, pit in enumerate(pits):
        senders.put(pit.uid, pit.first + 1, pit.tells(bundle, 1),
                    start_s + at / nodes * 60 * minutes)  # fmt: skip
        for minute in range(minutes):
            now = NowPart(START_MS + BLOCK_MS + minute * 60_000, 0, NOW_TEXT)
            body = pit.tells(replace(row, now=now), 2 + minute)
            senders.put(pit.uid, pit.first + 2 + minute, body,
                        start_s + (at / nodes + minute) * 60)  # fmt: skip
    wanted = senders.waiting
    pids = [one.pid for one in (work.hub.broker, *work.hub.at_work)]
    before = sum(map(cpu_s, pids))
    print(
        f"  {wanted} bundles of {nodes} pits signed in {time.monotonic() - began_s:.0f} s",
        flush=True,
    )
    whole = asyncio.run(senders.run(start_s + 60 * minutes + 600))
    told, found = senders.counted, work.found(pits)
    lost = wanted - told.confirmed if whole and found == of_bundles([bundle], nodes) else -1
    prefix = f"fleet-pace-{nodes}-{minutes}min"
    yield Row(f"{prefix}-lost", float("inf") if lost < 0 else lost, "bundles")
    yield Row(f"{prefix}-sends", (told.sent + told.resent) / wanted, "sends a bundle")
    yield Row(f"{prefix}-receipt-p99", told.percentile(0.99), "s")
    spent = (sum(map(cpu_s, pids)) - before) / (60 * minutes)
    yield Row(f"{prefix}-cpu", spent * 100, "% of a core: broker and ingesters")
