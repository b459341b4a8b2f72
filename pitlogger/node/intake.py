"""What devices send and how they fare, as inputs of the engine."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from functools import partial

from pitlogger.bootstrap.devices import buttons, routes
from pitlogger.config import Config
from pitlogger.devices.contract import Measurement, milli_units
from pitlogger.devices.supervisor import Link
from pitlogger.engine.buttons import Binding, perform, press
from pitlogger.engine.inputs import Command
from pitlogger.engine.scanning import Scans, after, scanned
from pitlogger.model.cooks import Channel
from pitlogger.model.journal import DeviceChanged, TroubleChanged
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading
from pitlogger.node.containers import containers
from pitlogger.questions import NO_ANSWERS
from pitlogger.views.doubting import asked
from pitlogger.views.node import Node

log = logging.getLogger(__name__)

SCANNER = "scanner"  # in place of initials
MOST_CHANNELS = 256  # of a node; a sender of made-up names must fill no memory


class Intake:
    """Gives what a device sends the name of its channel, and the time it has now."""

    def __init__(self, node: Node) -> None:
        self._node = node
        self._overflowing: set[str] = set()
        self._scans = Scans()

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
                self._press(bound, now_ms)
            return
        if measured.quantity is Quantity.CODE:
            self._scan(measured.text, now_ms)
            return
        channel = self._channel_of(device, measured)
        if channel is None:
            return
        value = None
        if measured.value is not None:
            value = milli_units(measured.value, measured.unit)
        self._node.feed(Reading(channel, now_ms, value, measured.quality, measured.stable))
        if self._scans.waits(now_ms):
            engine = self._node.engine
            found = partial(after, engine, self._scans, channel, now_ms)
            perform("what was scanned", found, now_ms, SCANNER, self._decided)

    def _press(self, bound: Binding, now_ms: int) -> None:
        """Do what a press is bound to, for the piece that was scanned where it names none."""
        if bound.piece is None and bound.act != "acknowledge":
            bound = replace(bound, piece=self._scans.take_piece(now_ms))
        if not press(self._node.engine, bound, now_ms, self._decided) and bound.piece is None:
            self._scans.press = (bound, now_ms)

    def _scan(self, text: str, now_ms: int) -> None:
        """Take a code: what it means goes by what lies on the scale, was pressed or put in."""
        node = self._node
        today = datetime.fromtimestamp((now_ms + node.utc_offset_ms) / 1000).astimezone().date()
        tares_mg = {one.name: one.tare_mg for one in containers(node).values() if one.tare_mg}
        made = partial(scanned, node.engine, self._scans, text, now_ms, today, tares_mg)
        perform("what was scanned", made, now_ms, SCANNER, self._decided)

    def _decided(self, command: Command) -> None:
        """Take what was decided without a screen; what is hardly possible has to be asked."""
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

    def changed(self, device: str, link: Link, message: str, remedy: str) -> None:
        """Take that a device came, or was lost and what to do about it."""
        body = DeviceChanged(device, "up" if link is Link.UP else "lost", message, remedy)
        self._node.feed(Command(self._node.clock.engine_ms(), body))
