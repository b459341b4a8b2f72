"""The values of one linked device: each is followed by itself, and each fails alone.

A value comes as notifications or indications, or is polled. One that the device refuses has a
fault in place of bytes and is tried again, while its neighbours go on; the link is given up
only where it broke, or where nothing at all can be read through it any more.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from pitlogger.devices.transports.ble.settings import BATTERY, GattSettings
from pitlogger.devices.transports.ble.troubles import (
    FAILURES,
    is_refusal,
    is_unreadable,
    trouble,
)
from pitlogger.devices.transports.inbox import Inbox
from pitlogger.errors import TransportError

log = logging.getLogger(__name__)

_FIRST_S = 2.0  # a subscribed value that has not come by itself by then is read
_ECHO_S = 0.5  # a read of a subscribed characteristic may come as a notification too
_HOPELESS = 3  # refusals in a row of every value, after which the link is made anew


class Sources:
    """Follows the named characteristics of a link; what they give goes into an inbox.

    Args:
        lost: Called when the link broke.
        claimed_battery: Returns the battery level where the service claims it for itself.
    """

    def __init__(
        self,
        settings: GattSettings,
        client: BleakClient,
        named: Mapping[str, BleakGATTCharacteristic],
        inbox: Inbox,
        *,
        lost: Callable[[TransportError], None],
        claimed_battery: Callable[[], Awaitable[int | None]],
    ) -> None:
        self._settings = settings
        self._client = client
        self._named = named
        self._inbox = inbox
        self._lost = lost
        self._claimed_battery = claimed_battery
        self._subscribed: set[str] = set()
        self._readable = {name for name, one in named.items() if "read" in one.properties}
        self._told: dict[str, tuple[float, bytes]] = {}  # last notification: when, bytes
        self._answered: dict[str, tuple[float, bytes]] = {}  # last read: when, bytes
        self._refusals: dict[str, int] = {}  # in a row, by source

    async def subscribe(self) -> None:
        """Ask for every value that can come by itself.

        Raises:
            TransportError: The link broke, or not one value can be had.
        """
        first: BaseException | None = None
        for name in self._named:
            if not self._speaks(name):
                continue
            try:
                await self._start_notify(name)
            except FAILURES as error:
                if not is_refusal(error):
                    raise trouble(self._doing("subscribing to", name), error) from error
                first = first or error
                if name not in self._readable:
                    self._refuse(name, "subscribing to", error)
        alive = [name for name in self._values if name in self._subscribed | self._readable]
        if first is not None and not alive:
            raise trouble(self._doing("subscribing to", *self._values), first) from first

    async def follow(self) -> None:
        """Read what does not notify, and what has been silent for too long; until cancelled."""
        async with asyncio.TaskGroup() as group:
            for name in self._named:
                group.create_task(self._follow(name), name=f"gatt {name}")
            if BATTERY in self._settings.wanted and BATTERY not in self._named:
                group.create_task(self._follow_claimed(), name="gatt battery")

    @property
    def _values(self) -> list[str]:
        """What is measured; a battery is no reason to keep a link, or to give it up."""
        return [name for name in self._named if name != BATTERY] or list(self._named)

    def _speaks(self, name: str) -> bool:
        return bool({"notify", "indicate"} & set(self._named[name].properties))

    async def _follow(self, name: str) -> None:
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        if name in self._subscribed:
            due_s += min(_FIRST_S, self._pause_s(name))  # it may send on change alone
        while True:
            await asyncio.sleep(max(0.0, due_s - loop.time()))
            told_s, _ = self._told.get(name, (-self._pause_s(name), b""))
            if name in self._subscribed and loop.time() - told_s < self._pause_s(name):
                due_s = told_s + self._pause_s(name)
                continue
            if name in self._readable:
                await self._read(name)
            elif self._speaks(name) and name not in self._subscribed:
                await self._subscribe_again(name)
            due_s = loop.time() + self._pause_s(name)

    async def _follow_claimed(self) -> None:
        """Ask the Bluetooth service for a battery that it claims for itself."""
        while True:
            percent = await self._claimed_battery()
            if percent is not None:
                self._inbox.put(BATTERY, bytes((percent,)))
            await asyncio.sleep(self._settings.battery_s)

    def _pause_s(self, name: str) -> float:
        if name == BATTERY:
            return self._settings.battery_s
        return self._settings.check_s if name in self._subscribed else self._settings.poll_s

    async def _start_notify(self, name: str) -> None:
        async with asyncio.timeout(self._settings.connect_s):  # bleak itself waits for ever
            await self._client.start_notify(self._named[name], self._receiver(name))
        self._subscribed.add(name)

    async def _subscribe_again(self, name: str) -> None:
        try:
            await self._start_notify(name)
        except FAILURES as error:
            self._take_failure(name, "subscribing to", error, asyncio.get_running_loop().time())

    def _receiver(self, name: str) -> Callable[[BleakGATTCharacteristic, bytearray], None]:
        loop = asyncio.get_running_loop()

        def receive(_one: BleakGATTCharacteristic, value: bytearray) -> None:
            data, now_s = bytes(value), loop.time()
            self._told[name] = (now_s, data)
            self._refusals.pop(name, None)
            read_s, read = self._answered.get(name, (-_ECHO_S, b""))
            if now_s - read_s >= _ECHO_S or data != read:
                self._inbox.put(name, data)

        return receive

    async def _read(self, name: str) -> None:
        loop = asyncio.get_running_loop()
        asked_s = loop.time()
        try:
            async with asyncio.timeout(self._settings.connect_s):
                data = bytes(await self._client.read_gatt_char(self._named[name]))
        except FAILURES as error:
            if is_unreadable(error) and name in self._subscribed:
                self._readable.discard(name)  # it comes by itself, or not at all
                return
            self._take_failure(name, "reading", error, asked_s)
            return
        self._refusals.pop(name, None)
        self._answered[name] = (loop.time(), data)
        told_s, told = self._told.get(name, (-1.0, b""))
        if told_s < asked_s or told != data:
            self._inbox.put(name, data)

    def _take_failure(self, name: str, doing: str, error: BaseException, asked_s: float) -> None:
        """Tell a value that failed alone from a link that broke."""
        if is_refusal(error) or (isinstance(error, TimeoutError) and self._lives(name, asked_s)):
            self._refuse(name, doing, error)
        else:
            self._lost(trouble(self._doing(doing, name), error))

    def _lives(self, name: str, since_s: float) -> bool:
        """Tell whether another value came since then, so that the link is alive."""
        came = {**self._told, **self._answered}
        return any(other != name and at_s >= since_s for other, (at_s, _) in came.items())

    def _refuse(self, name: str, doing: str, error: BaseException) -> None:
        fault = trouble(f"{doing} {name}", error)
        self._refusals[name] = self._refusals.get(name, 0) + 1
        if name == BATTERY and name not in self._values:
            log.debug("%s: %s", self._settings.what, fault)
            return
        if all(self._refusals.get(one, 0) >= _HOPELESS for one in self._values):
            self._lost(trouble(self._doing(doing, *self._values), error))
            return
        self._inbox.put_fault(name, fault)

    def _doing(self, doing: str, *names: str) -> str:
        return f"{doing} {', '.join(names)} of {self._settings.what}"
