"""Who was told of an alert: sent, waiting or failed, for each way; and why nobody was."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pitlogger.clock import rfc3339
from pitlogger.model.alerts import AlertState
from pitlogger.notify.courier import MOOT, SUPERSEDED
from pitlogger.notify.message import Message
from pitlogger.rules.conditions import Watch
from pitlogger.store.queries import Reader
from pitlogger.store.rows import Notice
from pitlogger.views.alerts import Delivery
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node

NO_WAY = mark("Nobody is told: no way of being told is configured.")
Became = Literal["sent", "waiting", "failed", "withdrawn"]


@dataclass(frozen=True, slots=True)
class LastDelivery:
    """What became of the last message about an alert by one way.

    Attributes:
        at_ms: When it was sent, given up, or is tried next; UTC milliseconds.
        times: Messages about it that were sent by this way.
    """

    way: str
    became: Became
    at_ms: int
    times: int
    tries: int
    error: str

    @property
    def view(self) -> Delivery:
        """It as the API shows it."""
        return Delivery(
            way=self.way, became=self.became, at=rfc3339(self.at_ms), times=self.times,
            tries=self.tries, error=self.error,
        )  # fmt: skip


async def read_notices(daemon: Node) -> list[Notice]:
    """Return the notices that may speak of an alert that stands now."""
    raised = [
        watch.raised_ms
        for watch in daemon.engine.state.watches.values()
        if watch.state is not AlertState.NORMAL
    ]
    if not daemon.config.notify.way or not raised:
        return []
    since_ms = min(raised) + daemon.utc_offset_ms

    def read(reader: Reader) -> list[Notice]:
        return reader.handed_in(since_ms)

    return await daemon.ask(read)


def told_of(watch: Watch, notices: Iterable[Notice], offset_ms: int) -> list[LastDelivery]:
    """Return what became of the newest message about an alert, for each way.

    Args:
        notices: The oldest first.
        offset_ms: UTC less engine time.
    """
    raised_ms = watch.raised_ms + offset_ms
    by_way: dict[str, LastDelivery] = {}
    for row in notices:
        if not row.channel or row.created_ms < raised_ms:
            continue
        if watch.key not in Message.load(row.body).alerts:
            continue
        became, before = _became(row), by_way.get(row.channel)
        times = (before.times if before else 0) + (became == "sent")
        at_ms = max(row.created_ms, row.next_try_ms)
        by_way[row.channel] = LastDelivery(
            row.channel, became, at_ms, times, row.tries, row.last_error
        )
    return list(by_way.values())


def _became(row: Notice) -> Became:
    if not row.done:
        return "waiting"
    if not row.last_error:
        return "sent"
    return "withdrawn" if row.last_error in (MOOT, SUPERSEDED) else "failed"


def why_nobody(daemon: Node, watch: Watch, told: Sequence[LastDelivery]) -> str:
    """Return why no message about an alert was made, empty where one was."""
    if told:
        return ""
    if not daemon.config.notify.way:
        return tr(NO_WAY)
    return daemon.notifier.why_unsent(watch.key, watch.wakes)
