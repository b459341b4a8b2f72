"""Messages in, receipts out: gathered for a moment, written in one commit, then answered."""

from __future__ import annotations

import asyncio
import gc
import logging
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar

from pitlogger.errors import BundleError, HubFullError
from pitlogger.hub.held import lacking
from pitlogger.hub.priors import offer_for
from pitlogger.hub.receive import Aside, NodeRow, NotEnrolledError, ReceivedBundle, receive
from pitlogger.hub.writing import BatchOutcome, HubSink
from pitlogger.uplink.carrier import HubAnswer

Found = TypeVar("Found")

log = logging.getLogger(__name__)

GATHER_S = 0.05
MOST_AT_ONCE = 256
MOST_WAITING = 512  # messages; beyond that a node is told to come again


@dataclass(slots=True)
class _Waiting:
    uid: str
    message: bytes
    answered: Callable[[HubAnswer | Exception], object]


def collect_rarely() -> None:
    """Have this process look for garbage rarely: a batch drops many objects, none in cycles.

    It saves a twentieth of the processor time.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 20, 20)


class Ingest:
    """Takes messages of nodes into a sink.

    Args:
        sink: Used from one thread of this object's own.
        wall_ms: UTC now.
        folded: Called in that thread after each commit with what it brought.
        gather_s: How long more messages are waited for before a commit.
        certify: Returns a new certificate for a node whose own ends soon; in that thread too.
    """

    def __init__(
        self, sink: HubSink, wall_ms: Callable[[], int],
        folded: Callable[[BatchOutcome, int], None] | None = None,
        gather_s: float = GATHER_S,
        certify: Callable[[NodeRow], str | None] | None = None,
    ) -> None:  # fmt: skip
        self.sink = sink
        self._wall_ms = wall_ms
        self._folded = folded
        self._gather_s = gather_s
        self._certify = certify
        self._waiting: asyncio.Queue[_Waiting] = asyncio.Queue()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="hub-sink")

    @property
    def waiting(self) -> int:
        """How many messages wait to be taken."""
        return self._waiting.qsize()

    @property
    def is_full(self) -> bool:
        """Whether nodes have to come again later."""
        return self.waiting >= MOST_WAITING

    def put(
        self, uid: str, message: bytes, answered: Callable[[HubAnswer | Exception], object]
    ) -> None:
        """Take a message; ``answered`` is called once what it brought is on disk, or why not."""
        self._waiting.put_nowait(_Waiting(uid, message, answered))

    async def submit(self, uid: str, message: bytes) -> HubAnswer:
        """Take a message and return the hub's answer once what it brought is on disk.

        Raises:
            NotEnrolledError: From a node whose records are not taken.
            HubFullError: Nothing could be written.
        """
        found: asyncio.Queue[HubAnswer | Exception] = asyncio.Queue()
        self.put(uid, message, found.put_nowait)
        answer = await found.get()
        if isinstance(answer, Exception):
            raise answer
        return answer

    def do(self, work: Callable[[HubSink], Found]) -> Awaitable[Found]:
        """Have something done in the sink's thread, between batches."""
        return asyncio.get_running_loop().run_in_executor(self._thread, work, self.sink)

    async def run(self) -> None:
        """Write batches until cancelled."""
        loop = asyncio.get_running_loop()
        while True:
            batch = [await self._waiting.get()]
            await asyncio.sleep(self._gather_s)
            while len(batch) < MOST_AT_ONCE and not self._waiting.empty():
                batch.append(self._waiting.get_nowait())
            try:
                answers = await loop.run_in_executor(self._thread, self._write, batch)
            except Exception as fault:  # told to each who waits; the next batch is tried anew
                answers = [fault] * len(batch)
            for one, answer in zip(batch, answers, strict=True):
                one.answered(answer)

    def stop(self) -> None:
        """End the thread once what it does is done."""
        self._thread.shutdown()

    def _write(self, batch: list[_Waiting]) -> list[HubAnswer | Exception]:
        """Verify and write a batch; return an answer for each message, in its order."""
        good: list[ReceivedBundle] = []
        aside: list[Aside] = []
        answers: dict[int, HubAnswer | Exception] = {}
        came: dict[int, ReceivedBundle] = {}
        nodes = self.sink.nodes_of(one.uid for one in batch)
        for at, one in enumerate(batch):
            try:
                came[at] = receive(one.uid, one.message, nodes.get)
                good.append(came[at])
            except (NotEnrolledError, HubFullError) as fault:
                answers[at] = fault
            except BundleError as fault:
                number = getattr(fault, "number", None)
                aside.append(Aside(one.uid, number, str(fault), one.message))
                answers[at] = HubAnswer(self.sink.hub, refused=((number or 0, str(fault)),))
        outcome = self.sink.take(good, aside, self._wall_ms())
        reasons = {id(one.message): one.reason for one in outcome.aside}
        failed = {id(one.message) for one in outcome.failed}
        for at, received in came.items():
            bundle = received.bundle
            if reason := reasons.get(id(received.message)):
                answers[at] = HubAnswer(self.sink.hub, refused=((bundle.number, reason),))
            elif id(received.message) in failed:
                answers[at] = HubFullError("this bundle cannot be written: see the hub's log")
            else:
                answers[at] = self._receipt(received, outcome)
        if self._folded is not None:
            try:
                self._folded(outcome, self._wall_ms())
            except Exception:  # cooks and pieces are derived and can be made anew
                log.exception("cooks could not be folded from what came")
        return [answers[at] for at in range(len(batch))]

    def _receipt(self, received: ReceivedBundle, outcome: BatchOutcome) -> HubAnswer:
        """Return the receipt of a bundle that is on disk."""
        node, bundle, database = received.node, received.bundle, self.sink.database
        return HubAnswer(
            self.sink.hub, received=(bundle.number,), life=database.life,
            lacks=lacking(database, node.id, bundle.held) if bundle.held else (),
            contradicted=tuple(sorted(
                what for of, what in outcome.contradicted
                if of == node.id and what.startswith(f"{bundle.run}/")
            )),
            offer=offer_for(database, node) if bundle.held else None,
            certificate=self._certify(node) if self._certify else None,
            cloned=node.is_cloned(self._wall_ms()),
        )  # fmt: skip
