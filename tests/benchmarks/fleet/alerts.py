"""How long an alert takes from sending to the hub's table; and what goes through in all.

Both over the real broker and real ingesters. An alert is compared with a commit of one row by
itself on the same server, measured just before.
"""

from __future__ import annotations

import asyncio
import json
import statistics
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from pitlogger.formats.bundle import EntryPart
from pitlogger.hub.opening import open_sink
from tests.benchmarks.fleet.ingest import cpu_s
from tests.benchmarks.fleet.work import DAYS_AWAY, Work, of_bundles
from tests.benchmarks.row import Row
from tools.fleet.pits import RUN, START_MS, Pit, Senders, simulated_cook

ALERTS, EACH_S, ALERTING = 150, 0.3, 25
PACE_PITS = 10_000  # a bundle in ten minutes each
LOOK_S = 0.002


class _Timed(Senders):
    """Keeps when each bundle was published first."""

    def __init__(self, *given: object) -> None:
        super().__init__(*given)  # type: ignore[arg-type]
        self.at_s: dict[bytes, float] = {}

    async def _publish(self, uid: str, body: bytes) -> None:
        self.at_s.setdefault(body, time.monotonic())
        await super()._publish(uid, body)


def alerts(work: Work, away: int, limit_s: float) -> Iterator[Row]:
    """Alerts at the pace of ten thousand pits; the same while nodes send what three days made."""
    commit_s = bare_commit_s(work)
    yield Row("fleet-commit-p99", commit_s * 1000, "ms")
    pits, (bundle,) = work.pits(round(PACE_PITS / 600 * ALERTS * EACH_S)), simulated_cook(1 / 6)
    background = work.senders()
    start_s = time.monotonic() + 5
    for number, pit in enumerate(pits):
        background.put(pit.uid, pit.first + 1, pit.tells(bundle, 1),
                       start_s + number * 600 / PACE_PITS)  # fmt: skip
    took = asyncio.run(_alerted(work, background, limit_s))
    yield _row("fleet-alert-p99", took, commit_s)
    pits, bundles = work.pits(away), simulated_cook(DAYS_AWAY * 24, every_s=5)
    background = work.senders()
    for pit in pits:
        for number, one in enumerate(bundles, 1):
            background.put(pit.uid, pit.first + number, pit.tells(one, number))
    took = asyncio.run(_alerted(work, background, limit_s))
    yield _row(f"fleet-alert-{away}-away-p99", took, commit_s)


def _row(name: str, took_s: list[float], commit_s: float) -> Row:
    if len(took_s) < ALERTS:
        return Row(name, float("inf"), "ms over a commit")
    p99_s = statistics.quantiles(took_s, n=100)[98]
    return Row(name, (p99_s - commit_s) * 1000, "ms over a commit")


def bare_commit_s(work: Work) -> float:
    """Return how long a commit of one row takes, the 99th of 100."""
    database = open_sink(work.hub.database).database
    database.run("CREATE TABLE IF NOT EXISTS bare (at bigint)")
    took = []
    for number in range(500):
        began_s = time.perf_counter()
        database.run("INSERT INTO bare VALUES (?)", (number,))
        took.append(time.perf_counter() - began_s)
    database.close()
    return statistics.quantiles(took, n=100)[98]


async def _alerted(work: Work, background: Senders, limit_s: float) -> list[float]:
    """Return how long each alert took from sending to the table, s."""
    pits = work.pits(ALERTING)  # so that no window is full
    bodies = [_alert(pits[number % ALERTING], number) for number in range(1, ALERTS + 1)]
    senders = _Timed("127.0.0.1", work.hub.broker_port, work.hub.folder)
    start_s = time.monotonic() + 8  # all connected, and the others at work
    for number, body in enumerate(bodies, 1):
        pit = pits[number % ALERTING]
        senders.put(pit.uid, pit.first + number, body, start_s + number * EACH_S)
    seen = asyncio.create_task(asyncio.to_thread(_seen, work, pits, start_s + limit_s))
    beside = asyncio.create_task(background.run(start_s + limit_s))
    await senders.run(start_s + limit_s)
    found = await seen
    beside.cancel()
    return [at_s - senders.at_s[bodies[seq - 1]] for seq, at_s in found.items()]


def _seen(work: Work, pits: Sequence[Pit], ends_s: float) -> dict[int, float]:
    """Return when each alert was first found in the table."""
    database = open_sink(work.hub.database).database
    marks = ", ".join("?" * len(pits))
    uids = [pit.uid for pit in pits]
    rows = database.ask(f"SELECT id FROM node WHERE uid IN ({marks})", uids)
    nodes = [node for (node,) in rows]
    found: dict[int, float] = {}
    while len(found) < ALERTS and time.monotonic() < ends_s:
        rows = database.ask(
            f"SELECT seq FROM journal WHERE node IN ({marks}) AND alert_kind IS NOT NULL",
            nodes,
        )
        now_s = time.monotonic()
        found = {seq: now_s for (seq,) in rows} | found
        time.sleep(LOOK_S)
    database.close()
    return found


def _alert(pit: Pit, seq: int) -> bytes:
    (bundle,) = simulated_cook(1 / 6, channels=0)
    said = {
        "run": RUN,
        "seq": seq,
        "t_ms": START_MS + seq,
        "kind": "alert-changed",
        "alert": f"pit-low/{seq}",
        "alert_kind": "pit-low",
        "now": "unacknowledged",
    }
    entry = EntryPart(seq, START_MS + seq, "alert-changed", "", None, None, json.dumps(said))
    return pit.tells(replace(bundle, spans=(), entries=(entry,)), seq)


def through(work: Work, nodes: int, limit_s: float) -> Iterator[Row]:
    """Rows a processor second of broker, ingesters and PostgreSQL together."""
    pits, (bundle,) = work.pits(nodes), simulated_cook(1 / 6)
    senders = work.senders()
    for pit in pits:
        senders.put(pit.uid, pit.first + 1, pit.tells(bundle, 1))
    before = _all_cpu_s(work)
    whole = asyncio.run(senders.run(time.monotonic() + limit_s))
    spent = _all_cpu_s(work) - before
    is_all = whole and work.found(pits) == of_bundles([bundle], nodes)
    rate = len(bundle) * nodes / spent if is_all else 0.0
    yield Row("fleet-through", rate, "rows/CPU-s", "ingest", rate / work.ingest_rate)


def _all_cpu_s(work: Work) -> float:
    """Return processor time of broker, ingesters and every process of the server, s."""
    own = [one.pid for one in (work.hub.broker, *work.hub.at_work)]
    server = work.server.process.pid
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
        except (OSError, ValueError):
            continue
        if parent == server:
            own.append(int(stat.parent.name))
    return sum(map(cpu_s, own))
