"""The node's uplink: begun where the node has joined a hub, and never in the way of the rest."""

from __future__ import annotations

import asyncio
import logging
from contextlib import suppress
from typing import TYPE_CHECKING

from pitlogger.engine.inputs import Command
from pitlogger.errors import DeliveryError, PitloggerError
from pitlogger.model.journal import TroubleChanged
from pitlogger.node.identity import node_key
from pitlogger.views.node import Node
from pitlogger.views.uplink import UplinkStatus

if TYPE_CHECKING:
    from pitlogger.uplink.carrier import Carrier
    from pitlogger.uplink.service import Uplink
    from pitlogger.views.uplink import Joined

log = logging.getLogger(__name__)

RESTART_S = 30.0


class UplinkRunner:
    """Runs the uplink beside the daemon; what goes wrong in it is logged and tried again."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._task: asyncio.Task[None] | None = None
        self._uplink: Uplink | None = None
        self._where = ""

    def start(self) -> None:
        """Begin where the node has joined a hub."""
        from pitlogger.uplink.joined import joined

        hub = joined(self._node.config.node.data)
        if hub is None:
            return
        data = self._node.config.node.data
        carrier: Carrier
        if hub.broker:
            from pitlogger.uplink.mqtt import MqttCarrier

            carrier = MqttCarrier(hub, self._node.uid, node_key(data), data)
        else:
            from pitlogger.uplink.https import HttpsCarrier
            from pitlogger.uplink.joined import AUTHORITY_FILE

            carrier = HttpsCarrier(hub.address, self._node.uid, data / AUTHORITY_FILE)
        self.start_with(carrier, hub.hub, hub.broker or hub.address, hub.tenant)

    def start_with(self, carrier: Carrier, hub: str, where: str, firm: str) -> None:
        """Begin over a way that is given."""
        from pitlogger.uplink.offers import keep_offered
        from pitlogger.uplink.service import Uplink

        data = self._node.config.node.data
        self._where = where
        self._uplink = Uplink(
            self._node, node_key(data), carrier, data, hub, self._report,
            lambda given: keep_offered(data, firm, given),
        )  # fmt: skip
        self._task = asyncio.create_task(self._guarded(self._uplink), name="uplink")

    @property
    def is_on(self) -> bool:
        """Whether there is a hub to send to."""
        return self._task is not None

    async def stop(self) -> None:
        """End it; how far the hub has received is kept."""
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task
            self._report(None)

    async def join(self, address: str, code: str) -> Joined:
        """Join a hub and begin sending to it; without an address it is found by its code.

        ``code`` may be the whole line that the hub shows, which has its address.

        See ``uplink/join.py`` for what is raised.
        """
        from pitlogger.formats.join_code import parse_invitation
        from pitlogger.uplink.discovery import find_by_code
        from pitlogger.uplink.join import join

        data = self._node.config.node.data
        name = self._node.config.node.name
        said, code = parse_invitation(code)
        address = address or said or await find_by_code(code)
        found = await join(address, code, data, node_key(data), self._node.uid, name)
        await self.stop()
        self.start()
        return found

    async def leave(self) -> None:
        """Stop sending, and forget the hub."""
        from pitlogger.uplink.joined import leave

        await self.stop()
        leave(self._node.config.node.data)

    def status(self) -> UplinkStatus:
        """Return how the uplink fares, for command line and page."""
        from pitlogger.uplink.offers import read_offer

        if self._task is None or self._uplink is None:
            return UplinkStatus(uid=self._node.uid)
        offer = read_offer(self._node.config.node.data)
        offered = len(offer.offered) if offer.is_open else 0
        return self._uplink.status(self._where).model_copy(update={"offered": offered})

    async def _guarded(self, uplink: Uplink) -> None:
        async with self._node.fanout.listen() as happenings:
            while True:
                try:
                    await uplink.run(happenings)
                except (PitloggerError, OSError) as fault:
                    log.warning("the uplink broke off and is begun again: %s", fault)
                except Exception:  # alarms and the record must go on whatever it is
                    log.exception("the uplink broke down and is begun again")
                await asyncio.sleep(RESTART_S)

    def _report(self, fault: DeliveryError | None) -> None:
        message, remedy = ("", "") if fault is None else (fault.message, fault.remedy)
        changed = TroubleChanged("uplink-behind", "node", fault is not None, message, remedy)
        if fault is not None or "uplink-behind/node" in self._node.engine.state.watches:
            self._node.feed(Command(self._node.clock.engine_ms(), changed))
