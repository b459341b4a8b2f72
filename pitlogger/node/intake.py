"""What devices send and how they fare, as inputs of the engine."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import replace

from pitlogger.bootstrap.devices import buttons, routes
from pitlogger.config import Config
from pitlogger.devices.contract import Measurement, milli_units
from pitlogger.devices.supervisor import LinkState
from pitlogger.engine.buttons import press
from pitlogger.engine.inputs import Command
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import DeviceChanged, TroubleChanged
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading
from pitlogger.questions import NO_ANSWERS
from pitlogger.views.doubting import asked
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

MOST_CHANNELS = 256  # of a node; a sender of made-up names must fill no memory


class Intake:
    """Gives what a device sends the name of its channel, and the time it has now."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._overflowing: set[str] = set()

    def configure(self, config: Config, channels: Iterable[Channel]) -> None:
        """Go by another configuration from now on; ``channels`` are those it names."""
        self._routes, self._buttons = routes(config), buttons(config)
        self._channels = {channel.id: channel for channel in channels}

    def measured(self, device: str, measured: Measurement) -> None:
        """Take a measurement or a press of a button."""
        now_ms = self._node.clock.engine_ms()
        if measured.quantity is Quantity.BUTTON:  # an event, not the state of anything
            bound = self._buttons.get((device, measured.channel, int(measured.value or 0)))
            if bound is not None:
                press(self._node.engine, bound, now_ms, self._pressed)
            return
        channel = self._channel_of(device, measured)
        if channel is None:
            return
        value = None
        if measured.value is not None:
            value = milli_units(measured.value, measured.unit)
        self._node.feed(Reading(channel, now_ms, value, measured.quality, measured.stable))

    def _pressed(self, command: Command) -> None:
        """Take what a press decided; what is hardly possible has to be asked, and no button can."""
        node = self._node
        asked(command.body, node.engine.book, NO_ANSWERS, node.units)
        node.feed(command)

    def _channel_of(self, device: str, measured: Measurement) -> str | None:
        """Return the channel's id; what nobody said of it is learnt from its first value."""
        name = self._routes.get((device, measured.channel))
        if name is None:
            name = f"{device}/{measured.channel}"
            whole = self._routes.get((device, ""))
            if whole and self._channels[whole].quantity in (None, measured.quantity):
                name = whole
        channel = self._channels.get(name)
        if channel is None and len(self._channels) >= MOST_CHANNELS:
            self._refused(device)
            return None
        if channel is None or channel.quantity is None:
            channel = channel or Channel(name, device=device)
            self._channels[name] = met = replace(channel, quantity=measured.quantity)
            self._node.meet(met)
        return name

    def _refused(self, device: str) -> None:
        """Raise an alarm, once, that a device names more channels than a pit can have."""
        if device not in self._overflowing:
            self._overflowing.add(device)
            message = (
                f"{device} sends ever more channels: {MOST_CHANNELS} are known, readings of"
                " further ones are not kept"
            )
            remedy = "name those that matter under [[device.channel]], then restart"
            log.error("%s: %s", message, remedy)
            body = TroubleChanged("store-failing", device, True, message, remedy)
            self._node.feed(Command(self._node.clock.engine_ms(), body))

    def changed(self, device: str, link: LinkState, message: str, remedy: str) -> None:
        """Take that a device came, or was lost and what to do about it."""
        body = DeviceChanged(device, "up" if link is LinkState.UP else "lost", message, remedy)
        self._node.feed(Command(self._node.clock.engine_ms(), body))
