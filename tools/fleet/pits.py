"""Simulated pits: identities of their own that send one simulated cook, each as its own.

Bundles are those of the uplink, signed and sent again by its own window; only the connections are
shared, since ten thousand of them would measure this machine's sockets. What is counted: bundles
sent, sent again, confirmed, set aside, and how long a receipt took.
"""

from __future__ import annotations

import asyncio
import heapq
import json
import random
import secrets
import time
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import aiomqtt
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitlogger.formats.bundle import (
    Bundle,
    ClockPart,
    EntryPart,
    RunPart,
    SpanPart,
    dump_bundle,
)
from pitlogger.formats.cose import sign
from pitlogger.hub.authority import service_certificate
from pitlogger.hub.writing import HubSink
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.journal import Body, CookFinished, CookStarted, Entry, Noted, StageSet, Weighed
from pitlogger.node.identity import uid_of
from pitlogger.store import JournalRow
from pitlogger.store.packing import Columns, pack
from pitlogger.uplink.carrier import read_answer
from pitlogger.uplink.join import pinned
from pitlogger.uplink.window import Window

LOOK_S = 0.5
START_MS, BLOCK_MS = 1_790_000_400_000, 600_000
RUN = "sim0-00000000"
NAME = "simulated-pits"


@dataclass(frozen=True, slots=True)
class Pit:
    """An identity: key, id, and its run in place of the simulated one."""

    key: Ed25519PrivateKey
    uid: str
    run: str
    name: str
    first: int  # number of its first bundle

    def tells(self, bundle: Bundle, number: int) -> bytes:
        """Return a bundle as this pit's own, signed."""
        own = replace(
            bundle, node=self.uid, number=self.first + number, run=self.run,
            row=replace(bundle.row, name=self.name),
            entries=tuple(
                replace(entry, text=entry.text.replace(bundle.run, self.run))
                for entry in bundle.entries
            ),
        )  # fmt: skip
        return sign(dump_bundle(own), self.key, self.uid)


def make_pits(number_of: int, seed: int) -> list[Pit]:
    """Return that many pits; the same seed gives the same keys."""
    rng = random.Random(seed)
    made = []
    for number in range(number_of):
        key = Ed25519PrivateKey.from_private_bytes(rng.randbytes(32))
        uid = uid_of(key.public_key().public_bytes_raw())
        made.append(Pit(key, uid, f"s{number:03x}-{rng.randbytes(4).hex()}", f"pit {number + 1}",
                        secrets.randbits(40) << 20))  # fmt: skip
    return made


def enrol(sink: HubSink, firm: str, pits: Sequence[Pit], sites: int = 12) -> None:
    """Take pits in, spread over sites."""
    database = sink.database
    with database.transaction():
        database.run("INSERT INTO tenant (name) VALUES (?) ON CONFLICT DO NOTHING", (firm,))
        ((tenant,),) = database.ask("SELECT id FROM tenant WHERE name = ?", (firm,))
        names = [f"site {number + 1}" for number in range(sites)]
        database.many("INSERT INTO site (tenant, name) VALUES (?, ?) ON CONFLICT DO NOTHING",
                      [(tenant, name) for name in names])  # fmt: skip
        known: dict[str, int] = dict(
            database.ask("SELECT name, id FROM site WHERE tenant = ?", (tenant,))
        )
        database.many(
            "INSERT INTO node (uid, tenant, site, name, public_key, state, enrolled_ms)"
            " VALUES (?, ?, ?, ?, ?, 'enrolled', 1)",
            [(pit.uid, tenant, known[names[number % sites]], pit.name,
              pit.key.public_key().public_bytes_raw()) for number, pit in enumerate(pits)],
        )  # fmt: skip


def simulated_cook(hours: float, channels: int = 16, every_s: int = 1) -> list[Bundle]:
    """Return what a pit sends of a cook: a bundle each ten minutes, ``channels`` spans in each.

    Entries are those of one piece, and seven notes in ten minutes, as many as a cook of fourteen
    hours with its forecasts has on average.
    """
    blocks = max(round(hours * 6), 1)
    row = RunPart("boot-1", START_MS, 5_000, "0.2.0", True, None, "pit")
    bodies = _bodies(blocks)
    rng, made = random.Random(1), []
    for number in range(blocks):
        block_ms = START_MS + number * BLOCK_MS
        entries = tuple(
            _entry(Entry(RUN, seq, block_ms + at * 60_000, body, "AB"))
            for at, (seq, body) in enumerate(bodies[number])
        )
        spans = tuple(
            _span(f"probe-{channel}", block_ms, every_s, 60_000 + number * 500, rng)
            for channel in range(channels)
        )
        made.append(Bundle("", number + 1, RUN, row, (ClockPart(START_MS, 0, True, 0),), spans,
                           entries))  # fmt: skip
    return made


def _entry(entry: Entry) -> EntryPart:
    text = JournalRow.of(entry, "supper").text
    kind = json.loads(text)["kind"]
    return EntryPart(entry.seq, entry.t_ms, kind, entry.by, None, "supper", text)


def _bodies(blocks: int) -> list[list[tuple[int, Body]]]:
    """Return by block what is decided in a cook of one piece, numbered through."""
    found: list[list[Body]] = [[Noted("wind from the west " * 20)] * 7 for _ in range(blocks)]
    found[0][:3] = [
        CookStarted(Cook("supper", (Piece("butt-1", "pork-butt"),))),
        Weighed("butt-1", "purchased", 4_310_000, 0, START_MS),
        StageSet("butt-1", Stage.SMOKING, START_MS),
    ]
    found[-1][-3:] = [
        StageSet("butt-1", Stage.CARVED, START_MS + blocks * BLOCK_MS - 1),
        Weighed("butt-1", "carved", 2_260_000, 0, START_MS + blocks * BLOCK_MS - 1),
        CookFinished("supper"),
    ]
    numbers = count(1)
    return [[(next(numbers), body) for body in some] for some in found]


def _span(channel: str, block_ms: int, every_s: int, milli_c: int, rng: random.Random) -> SpanPart:
    times = list(range(block_ms, block_ms + BLOCK_MS, every_s * 1000))
    values = [milli_c + round(rng.gauss(0, 100)) // 10 * 10 for _ in times]
    columns = Columns(times, values, [0] * len(times), bytes(len(times)))
    each = len(times) // 10
    parts = [values[at * each : (at + 1) * each] for at in range(10)]
    return SpanPart(
        channel, "temperature", block_ms, 0, len(times), pack(columns), (each,) * 10,
        tuple(sum(part) // each for part in parts), tuple(map(min, parts)), tuple(map(max, parts)),
    )  # fmt: skip


def let_in(folder: Path) -> None:
    """Give the simulator a certificate of the hub and a line in its broker's rules."""
    service_certificate(folder, NAME, NAME, datetime.now(UTC))
    with (folder / "rules").open("a", encoding="utf-8") as file:
        file.write(f"\nuser {NAME}\ntopic write fleet/1/+/up\ntopic read fleet/1/+/down\n")


@dataclass(slots=True)
class Counted:
    """What was sent and what came of it."""

    sent: int = 0
    resent: int = 0
    doubled: int = 0
    confirmed: int = 0
    refused: list[str] = field(default_factory=list)
    took_s: list[float] = field(default_factory=list)

    def percentile(self, share: float) -> float:
        """Return how long a receipt took, s, at a share from 0 to 1."""
        ordered = sorted(self.took_s)
        return ordered[min(int(share * len(ordered)), len(ordered) - 1)] if ordered else 0.0


@dataclass(slots=True)
class _Outbox:
    window: Window
    waiting: deque[tuple[int, bytes]] = field(default_factory=deque)


class Senders:
    """Pits at work over shared connections to a hub's broker.

    Args:
        doubling: Share of bundles that are sent twice on purpose.
    """

    def __init__(
        self, host: str, port: int, folder: Path, *, connections: int = 4, doubling: float = 0.0,
        seed: int = 0,
    ) -> None:  # fmt: skip
        self.counted = Counted()
        self._host, self._port, self._folder = host, port, folder
        self._doubling, self._rng = doubling, random.Random(seed)
        self._connections = connections
        self._own = secrets.token_hex(4)  # others may be at work beside these
        self._clients: list[aiomqtt.Client | None] = [None] * connections
        self._pits: dict[str, _Outbox] = {}
        self._due: list[tuple[float, int, str, int, bytes]] = []
        self._busy: set[str] = set()
        self._tie = 0
        self._sent_s: dict[tuple[str, int], float] = {}
        self.waiting = 0

    def put(self, uid: str, number: int, body: bytes, at_s: float = 0.0) -> None:
        """Have a bundle sent, at a monotonic time at the earliest."""
        self._tie += 1
        self.waiting += 1
        heapq.heappush(self._due, (at_s, self._tie, uid, number, body))

    async def run(self, ends_s: float) -> bool:
        """Send until all is confirmed; return whether it was before the monotonic time given."""
        beside = [asyncio.create_task(self._connected(number))
                  for number in range(self._connections)]  # fmt: skip
        looked_s = 0.0
        try:
            while None in self._clients and time.monotonic() < ends_s:  # noqa: ASYNC110
                await asyncio.sleep(0.05)
            while self.waiting and time.monotonic() < ends_s:
                now_s = time.monotonic()
                while self._due and self._due[0][0] <= now_s:
                    _, _, uid, number, body = heapq.heappop(self._due)
                    self._outbox(uid).waiting.append((number, body))
                    self._busy.add(uid)
                    await self._send_new(uid)
                if now_s - looked_s >= LOOK_S:
                    looked_s = now_s
                    await self._send_again()
                await asyncio.sleep(0.01)
        finally:
            for task in beside:
                task.cancel()
            await asyncio.gather(*beside, return_exceptions=True)
        return not self.waiting

    def _outbox(self, uid: str) -> _Outbox:
        if uid not in self._pits:
            self._pits[uid] = _Outbox(Window(self._rng.random))
        return self._pits[uid]

    async def _send_new(self, uid: str) -> None:
        box = self._outbox(uid)
        while box.waiting and box.window.has_room:
            number, body = box.waiting.popleft()
            now_s = time.monotonic()
            box.window.sent(number, body, round(now_s * 1000))
            self._sent_s[uid, number] = now_s
            self.counted.sent += 1
            await self._publish(uid, body)
            if self._rng.random() < self._doubling:
                self.counted.doubled += 1
                await self._publish(uid, body)

    async def _send_again(self) -> None:
        now_ms = round(time.monotonic() * 1000)
        for uid in list(self._busy):
            for one in self._pits[uid].window.due(now_ms):
                self.counted.resent += 1
                await self._publish(uid, one.body)

    async def _publish(self, uid: str, body: bytes) -> None:
        client = self._clients[hash(uid) % self._connections]
        if client is not None:
            with suppress(aiomqtt.MqttError, ValueError):
                await client.publish(f"fleet/1/{uid}/up", body, qos=0)

    async def _connected(self, number: int) -> None:
        context = pinned((self._folder / "authority.pem").read_text(encoding="ascii"))
        context.load_cert_chain(self._folder / f"{NAME}-certificate.pem",
                                self._folder / f"{NAME}-key.pem")  # fmt: skip
        while True:
            with suppress(aiomqtt.MqttError, OSError, TimeoutError):
                async with aiomqtt.Client(
                    self._host, self._port, protocol=aiomqtt.ProtocolVersion.V5,
                    clean_start=True, tls_context=context, timeout=10,
                    identifier=f"{NAME}-{self._own}-{number}",
                ) as client:  # fmt: skip
                    if number == 0:
                        await client.subscribe("fleet/1/+/down", qos=0)
                    self._clients[number] = client
                    self._forgotten(number)
                    async for message in client.messages:
                        await self._heard(str(message.topic).split("/")[2],
                                          bytes(message.payload or b""))  # fmt: skip
            self._clients[number] = None
            await asyncio.sleep(0.5)

    def _forgotten(self, number: int) -> None:
        now_ms = round(time.monotonic() * 1000)
        for uid in self._busy:
            if number == 0 or hash(uid) % self._connections == number:
                self._pits[uid].window.forgotten(now_ms)

    async def _heard(self, uid: str, payload: bytes) -> None:
        answer = read_answer(payload)
        box = self._outbox(uid)
        now_s = time.monotonic()
        for number, reason in (*((one, "") for one in answer.received), *answer.refused):
            if not box.window.receipt(number, round(now_s * 1000)):
                continue
            self.waiting -= 1
            self.counted.took_s.append(now_s - self._sent_s.pop((uid, number)))
            if reason:
                self.counted.refused.append(f"{uid} {number}: {reason}")
            else:
                self.counted.confirmed += 1
        await self._send_new(uid)
        if not box.waiting and not box.window.outstanding:
            self._busy.discard(uid)
