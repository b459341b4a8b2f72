"""What runs beside the outbox: the broker's connections and the heartbeat."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable
from functools import partial
from typing import TYPE_CHECKING

from pitlogger.errors import DeliveryError
from pitlogger.notify.together import stop_if_cancelled

if TYPE_CHECKING:
    from pitlogger.notify.service import Notifier


log = logging.getLogger(__name__)

RESTART_S = 5.0
Report = Callable[[str, DeliveryError | None], None]
Work = Callable[[], Awaitable[None]]


def tasks_of(notifier: Notifier) -> dict[str, Work]:
    """Return what is to run beside the outbox, by task name."""
    node = notifier.node
    tasks: dict[str, Work] = {}
    if notifier.broker is not None:
        from pitlogger.notify.mqtt.discovery import slug
        from pitlogger.notify.mqtt.link import Link
        from pitlogger.notify.mqtt.session import HomieSession, Session

        sessions: dict[str, Session] = {"mqtt": notifier.broker}
        if node.config.mqtt.homie:
            sessions["homie"] = HomieSession(node)
        for name, session in sessions.items():
            own = f"pitlogger-{slug(node.config.node.name)}-{name}"
            link = Link(node.config.mqtt, own, session.will, partial(notifier.report, name))
            tasks[name] = partial(link.run, session.serve)
    if node.config.notify.heartbeat_url is not None:
        tasks["heartbeat"] = partial(_heartbeat, notifier, node.config.notify.heartbeat_url)
    return tasks


async def guarded(
    name: str, work: Work, report: Callable[[str, DeliveryError | None], None]
) -> None:
    """Do some work for ever; what goes wrong in a way nobody foresaw is told, and tried again."""
    while True:
        try:
            await work()
        except Exception as fault:  # whatever it is, alarms must go on by the other ways
            log.exception("%s broke down", name)
            report(name, DeliveryError(f"it broke down: {fault!r}", remedy="See the log"))
        stop_if_cancelled()
        await asyncio.sleep(RESTART_S)


async def _heartbeat(notifier: Notifier, url: str) -> None:
    """Call an address again and again while all is well, so that silence is noticed there."""
    from pitlogger.notify.ways.http import Poster

    poster = Poster(url)
    failing = False
    while True:
        if notifier.node.is_well():
            try:
                await poster.post({"node": notifier.node.config.node.name}, {})
            except DeliveryError as fault:
                if not failing:
                    notifier.report("heartbeat", fault)
                failing = True
            else:
                if failing:
                    notifier.report("heartbeat", None)
                failing = False
        await asyncio.sleep(notifier.node.config.notify.heartbeat_s)
