"""What runs beside the outbox: the broker's connections and the heartbeat.

Each is a named task with the settings it was begun with, so that a configuration read again
ends and begins only what it changes.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from pitlogger.devices.tasks import heed_cancelling
from pitlogger.errors import DeliveryError
from pitlogger.notify.message import alive_message
from pitlogger.notify.ways.make import make_way
from pitlogger.notify.ways.way import Way
from pitlogger.views.node import Node

if TYPE_CHECKING:
    from pitlogger.notify.mqtt.session import StateSession

log = logging.getLogger(__name__)

RESTART_S = 5.0
Report = Callable[[str, DeliveryError | None], None]
Work = Callable[[], Awaitable[None]]


@dataclass(frozen=True, slots=True)
class ConnectionPlan:
    """Something to run: what it does, and what it was made of."""

    settings: object
    work: Work


class Beside:
    """Runs named works until they are no longer planned."""

    def __init__(self, report: Report) -> None:
        self._report = report
        self._running: dict[str, tuple[object, asyncio.Task[None]]] = {}

    async def arrange(self, plans: Mapping[str, ConnectionPlan]) -> None:
        """Let run what is planned; what is planned as before goes on undisturbed."""
        over = [
            name
            for name, (settings, _) in self._running.items()
            if name not in plans or plans[name].settings != settings
        ]
        await self._end(over)
        for name, plan in plans.items():
            if name not in self._running:
                task = asyncio.create_task(guarded(name, plan.work, self._report), name=name)
                self._running[name] = (plan.settings, task)

    async def _end(self, names: list[str]) -> None:
        tasks = [self._running.pop(name)[1] for name in names]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def plans_of(node: Node, broker: StateSession | None, report: Report) -> dict[str, ConnectionPlan]:
    """Return what the configuration wants to run beside the outbox, by task name.

    Args:
        broker: The session of ``[mqtt]``, where that is enabled.
    """
    plans: dict[str, ConnectionPlan] = {}
    notify, mqtt = node.config.notify, node.config.mqtt
    if broker is not None:
        from pitlogger.notify.mqtt.link import MqttLink

        broker.begin(partial(report, "mqtt"))
        link = MqttLink(mqtt, node.uid, broker.will, partial(report, "mqtt"))
        plans["mqtt"] = ConnectionPlan(mqtt, partial(link.run, broker.serve))
    if (url := notify.heartbeat_url) is not None:
        settings = (url, notify.heartbeat_s)
        plans["heartbeat"] = ConnectionPlan(settings, partial(_heartbeat, node, *settings, report))
    if (beaten := notify.heartbeat_way) is not None:
        table = next(way for way in notify.way if way.id == beaten)
        way = make_way(table, broker)
        work = partial(_heartbeat_by, way, node, notify.heartbeat_s, report)
        plans["heartbeat-way"] = ConnectionPlan((table, notify.heartbeat_s, broker), work)
    return plans


async def guarded(name: str, work: Work, report: Report) -> None:
    """Do some work for ever; what goes wrong in a way nobody foresaw is logged, and tried again."""
    while True:
        try:
            await work()
        except Exception as fault:  # whatever it is, alarms must go on by the other ways
            log.exception("%s broke down", name)
            report(name, DeliveryError(f"it broke down: {fault!r}", remedy="See the log"))
        heed_cancelling()
        await asyncio.sleep(RESTART_S)


async def _heartbeat(node: Node, url: str, every_s: float, report: Report) -> None:
    """Call an address again and again while all is well, so that silence is noticed there."""
    from pitlogger.notify.ways.http import Poster

    poster = Poster(url)
    while True:
        if node.is_well():
            try:
                await poster.post({"node": node.config.node.name}, {})
            except DeliveryError as fault:
                report("heartbeat", fault)
            else:
                report("heartbeat", None)
        await asyncio.sleep(every_s)


async def _heartbeat_by(way: Way, node: Node, every_s: float, report: Report) -> None:
    """Send a message that says "alive" by a way, again and again while all is well."""
    while True:
        if node.is_well():
            utc_ms = node.clock.engine_ms() + node.utc_offset_ms
            message = alive_message(node.config.node.name, utc_ms, every_s)
            try:
                async with asyncio.timeout(every_s):
                    await way.send(message)
            except TimeoutError:
                report("heartbeat-way", DeliveryError(f"no answer within {every_s:.0f} s"))
            except DeliveryError as fault:
                report("heartbeat-way", fault)
            else:
                report("heartbeat-way", None)
        await asyncio.sleep(every_s)
