"""The simulated Bluetooth service: takes the name ``org.bluez`` on a message bus.

Method calls are answered by a low-level message handler, so every answer, its delay and
its failure are in our hands. What it cannot show: radio timing, the kernel's filtering of
repeats, one chip shared with Wi-Fi, and the faults of the real service.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from pitlogger_simulators.bluetooth.calls import Answer, CallRefusedError, Calls
from pitlogger_simulators.bluetooth.world import World

NAME = "org.bluez"
_WATCH_NAMES = "type='signal',interface='org.freedesktop.DBus',member='NameOwnerChanged'"


class SimulatedBluez:
    """Answers as ``org.bluez`` on the bus in ``DBUS_SYSTEM_BUS_ADDRESS`` or one given.

    Args:
        bus_address: Address of the bus; ``None`` for the system bus of the environment.
        step_s: How long connecting and discovery take, seconds.
        advertise_s: Pause between two advertisements of a device, seconds.
    """

    def __init__(
        self,
        bus_address: str | None = None,
        *,
        adapter: str = "hci0",
        address: str = "02:00:00:00:00:01",
        step_s: float = 0.005,
        advertise_s: float = 0.05,
    ) -> None:
        self._bus_address = bus_address
        self._advertise_s = advertise_s
        self._bus: MessageBus | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self.world = World(self._signal, adapter, address)
        self.calls = Calls(self.world, step_s)

    async def __aenter__(self) -> SimulatedBluez:
        await self.start()
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self.stop()

    @property
    def running(self) -> bool:
        """Whether the name is taken."""
        return self._bus is not None

    async def start(self) -> None:
        """Take the name, as a service does that was started (again)."""
        bus = MessageBus(bus_address=self._bus_address, bus_type=BusType.SYSTEM)
        await bus.connect()
        bus.add_message_handler(self._on_message)
        await bus.call(
            Message(
                destination="org.freedesktop.DBus",
                path="/org/freedesktop/DBus",
                interface="org.freedesktop.DBus",
                member="AddMatch",
                signature="s",
                body=[_WATCH_NAMES],
            )
        )
        self._bus = bus
        await bus.request_name(NAME)
        if self.world.present:
            self.world.plug_adapter()
        self._spawn(self._advertise())

    async def stop(self) -> None:
        """Die as a killed service does: the name goes, nobody is told anything else."""
        bus, self._bus = self._bus, None
        if bus is None:
            return
        self.world.forget_everything()
        self.world.deaf = None
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        bus.disconnect()
        await bus.wait_for_disconnect()  # type: ignore[no-untyped-call]

    async def _advertise(self) -> None:
        """Repeat advertisements; of unchanged ones a client sees the signal strength alone."""
        odd = 0
        while True:
            await asyncio.sleep(self._advertise_s)
            odd ^= 1
            for peripheral in list(self.world.peripherals.values()):
                strength = {"RSSI": Variant("n", peripheral.rssi - odd)}
                self.world.hear(peripheral, strength)

    def _signal(self, path: str, interface: str, member: str, signature: str, body: Any) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_signal(path, interface, member, signature, body))

    def _on_message(self, message: Message) -> bool:
        if message.message_type is MessageType.SIGNAL:
            if message.member == "NameOwnerChanged":
                self._on_owner_changed(*message.body)
            return False
        if message.message_type is not MessageType.METHOD_CALL:
            return False
        answer = self.calls.table.get((message.interface or "", message.member or ""))
        if answer is None:
            return False
        self._spawn(self._reply(message, answer))
        return True

    def _on_owner_changed(self, name: str, _old: str, new: str) -> None:
        """End the scans of a client that left; its links stay (BlueZ issue 89)."""
        if new:
            return
        before = self.world.scanning
        self.world.scanners.discard(name)
        self.world.monitors = {m for m in self.world.monitors if m[0] != name}
        if before and not self.world.scanning:
            self.world.scan_changed()

    async def _reply(self, message: Message, answer: Callable[[Message], Any]) -> None:
        try:
            given: Answer = await answer(message)
        except CallRefusedError as refused:
            self._send(Message.new_error(message, refused.error, refused.text))
            return
        self._send(Message.new_method_return(message, given.signature, list(given.body)))
        if given.afterwards is not None:
            await given.afterwards()

    def _send(self, message: Message) -> None:
        if self._bus is not None:
            self._bus.send(message)

    def _spawn(self, coroutine: Any) -> None:
        task = asyncio.get_running_loop().create_task(coroutine)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
