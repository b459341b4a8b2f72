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

from pitlogger_simulators.bluetooth import tree
from pitlogger_simulators.bluetooth.agents import Agents
from pitlogger_simulators.bluetooth.calls import CallRefusedError, Calls, Reply
from pitlogger_simulators.bluetooth.world import World

NAME = "org.bluez"
_WATCH_NAMES = "type='signal',interface='org.freedesktop.DBus',member='NameOwnerChanged'"


class SimulatedBluez:
    """Answers as ``org.bluez`` on the bus in ``DBUS_SYSTEM_BUS_ADDRESS`` or one given.

    Args:
        bus_address: Address of the bus; ``None`` for the system bus of the environment.
        step_s: How long connecting and discovery take, seconds.
        delay_s: Draws that time anew for each step, in place of ``step_s``.
        advertise_s: Pause between two advertisements of a device, seconds.
    """

    def __init__(
        self,
        bus_address: str | None = None,
        *,
        adapter: str = "hci0",
        address: str = "02:00:00:00:00:01",
        step_s: float = 0.005,
        delay_s: Callable[[], float] | None = None,
        advertise_s: float = 0.05,
    ) -> None:
        self._bus_address = bus_address
        self._advertise_s = advertise_s
        self._bus: MessageBus | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._delay_s = delay_s or (lambda: step_s)
        self.agents = Agents(self._call_agent)
        self._calls: dict[str, Calls] = {}  # by the path of the adapter
        self.worlds: list[World] = []
        self.world = self.add_adapter(adapter, address)
        self.calls = self._calls[self.world.adapter_path]

    def add_adapter(self, adapter: str, address: str) -> World:
        """Return a further adapter with a world of its own; peripherals may be in several."""
        world = World(self._signal, adapter, address)
        self.worlds.append(world)
        self._calls[world.adapter_path] = Calls(world, self._delay_s, self.agents)
        if self.running:
            world.plug_adapter()
        return world

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
        for world in self.worlds:
            if world.present:
                world.plug_adapter()
        self._spawn(self._advertise())

    async def stop(self) -> None:
        """Die as a killed service does: the name goes, nobody is told anything else."""
        bus, self._bus = self._bus, None
        if bus is None:
            return
        for world in self.worlds:
            world.forget_everything()
            world.deaf = None
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
            for world in self.worlds:
                for peripheral in list(world.peripherals.values()):
                    strength = {"RSSI": Variant("n", peripheral.rssi - odd)}
                    world.hear(peripheral, strength)

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
        answer = self._answer_to(message)
        if answer is None:
            return False
        self._spawn(self._reply(message, answer))
        return True

    def _answer_to(self, message: Message) -> Callable[[Message], Any] | None:
        key, path = (message.interface or "", message.member or ""), message.path or ""
        match key:
            case (tree.OBJECT_MANAGER, "GetManagedObjects"):
                return self._managed_objects
            case (tree.AGENT_MANAGER, _):
                return self._agent_manager
        adapter = "/".join(path.split("/")[:4])
        calls = self._calls.get(adapter, self.calls)
        return calls.table.get(key)

    async def _managed_objects(self, _message: Message) -> Reply:
        found: dict[str, tree.Interfaces] = {}
        for world in self.worlds:
            found |= world.objects()
        return Reply("a{oa{sa{sv}}}", (found,))

    async def _agent_manager(self, message: Message) -> Reply:
        owner = message.sender or ""
        if message.member == "RegisterAgent":
            self.agents.register(owner, message.body[0])
        elif message.member == "UnregisterAgent":
            self.agents.unregister(owner)
        return Reply()

    async def _call_agent(
        self, owner: str, path: str, member: str, signature: str, body: list[Any]
    ) -> list[Any] | None:
        assert self._bus is not None
        reply = await self._bus.call(
            Message(
                destination=owner,
                path=path,
                interface=tree.AGENT,
                member=member,
                signature=signature,
                body=body,
            )
        )
        refused = reply is None or reply.message_type is MessageType.ERROR
        return None if reply is None or refused else list(reply.body)

    def _on_owner_changed(self, name: str, _old: str, new: str) -> None:
        """End the scans of a client that left; its links stay (BlueZ issue 89)."""
        if new:
            return
        self.agents.unregister(name)
        for world in self.worlds:
            before = world.scanning
            world.scanners.discard(name)
            world.monitors = {m for m in world.monitors if m[0] != name}
            if before and not world.scanning:
                world.scan_changed()

    async def _reply(self, message: Message, answer: Callable[[Message], Any]) -> None:
        try:
            given: Reply = await answer(message)
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
