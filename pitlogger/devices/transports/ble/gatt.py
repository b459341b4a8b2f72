"""One connected device: subscribes where it can, polls where it must, tells when it is lost.

Each characteristic is a source, named as ``names`` says. Values come as notifications or
indications; a readable characteristic without them is polled. A subscribed one is read when
it has been silent for a while: a device may notify on change alone, so silence can be calm
or death, and a read tells which. bleak says nothing when the adapter or the service goes.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, suppress

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakGATTProtocolError

from pitlogger.devices.contract import Chunk
from pitlogger.devices.tasks import end
from pitlogger.devices.transports.ble.facts import CURRENT_TIME, STRINGS, facts
from pitlogger.devices.transports.ble.names import Described, name_sources
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import BATTERY, GattSettings, short_uuid
from pitlogger.devices.transports.ble.troubles import FAILURES, trouble
from pitlogger.devices.transports.inbox import Inbox
from pitlogger.errors import TransportError

log = logging.getLogger(__name__)

# Generic Access, Generic Attribute, Device Information (Bluetooth Assigned Numbers).
_OF_EVERY_DEVICE = frozenset(("1800", "1801", "180a"))
_FIRST_S = 2.0  # a subscribed value that has not come by itself by then is read
_LOOK_S = 1.0  # between two looks whether a device is still heard
_ECHO_S = 0.5  # a read of a subscribed characteristic may come as a notification too


def is_uuid(one: BleakGATTCharacteristic, uuid: str) -> bool:
    """Tell whether a characteristic has that UUID, short or long."""
    return short_uuid(one.uuid) == short_uuid(uuid)


def _may_speak(one: BleakGATTCharacteristic) -> bool:
    """Tell whether a characteristic could carry values: not one that every device has."""
    speaks = {"notify", "indicate", "read"} & set(one.properties)
    return bool(speaks) and short_uuid(one.service_uuid) not in _OF_EVERY_DEVICE


def _words(settings: GattSettings) -> str:
    return ", ".join(settings.needed) or "that notify or can be read"


class _LackingError(TransportError):
    """The device shows none of the characteristics that are needed."""


class GattTransport:
    """A link to one device. Open it once; make another for the next attempt."""

    def __init__(self, settings: GattSettings) -> None:
        self._settings = settings
        self._inbox = Inbox()
        self._stack = AsyncExitStack()
        self._radio: Radio | None = None
        self._client: BleakClient | None = None
        self._device_path = ""
        self._sources: dict[str, BleakGATTCharacteristic] = {}
        self._subscribed: set[str] = set()
        self._told: dict[str, tuple[float, bytes]] = {}  # last notification: when, octets
        self._answered: dict[str, tuple[float, bytes]] = {}  # last read: when, octets
        self._is_radios_fault = False

    async def __aenter__(self) -> GattTransport:
        async with AsyncExitStack() as stack:
            radio = await stack.enter_async_context(Radio.shared(self._settings.adapter))
            self._radio = radio
            stack.callback(radio.on_loss(self._on_loss))
            stack.callback(radio.listen(self._on_heard))
            try:
                await self._link(stack)
            except TransportError:
                self._is_radios_fault |= radio.fault is not None
                raise
            pacing = asyncio.get_running_loop().create_task(self._pace(), name="gatt-pace")
            stack.push_async_callback(end, pacing)
            self._stack = stack.pop_all()
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self._stack.aclose()

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield values; ``source`` names the characteristic.

        Raises:
            TransportError: The link, the adapter or the service went.
        """
        return self._inbox.chunks()

    async def send(self, data: bytes) -> None:
        """Write to the characteristic that takes commands.

        Raises:
            TransportError: There is none, or the write failed.
        """
        what, client = self._settings.what, self._client
        uuid = self._settings.written
        if client is None or not uuid:
            raise TransportError(f"{what} takes no commands ({data.hex()})")
        try:
            async with asyncio.timeout(self._settings.connect_s):
                found = [c for c in client.services.characteristics.values() if is_uuid(c, uuid)]
                if not found:
                    raise TransportError(f"{what} has no characteristic {uuid} to write to")
                await client.write_gatt_char(found[0], data)
        except FAILURES as error:
            raise trouble(f"writing to {uuid} of {what}", error) from error

    async def facts(self) -> dict[str, str]:
        """Return what the device says about itself; what cannot be read is left out."""
        client = self._client
        octets: dict[str, bytes] = {}
        if client is None:
            return {}
        for one in client.services.characteristics.values():
            uuid = short_uuid(one.uuid)
            if uuid in (*STRINGS, CURRENT_TIME) and "read" in one.properties:
                with suppress(*FAILURES):
                    async with asyncio.timeout(self._settings.connect_s):
                        octets[uuid] = bytes(await client.read_gatt_char(one))
        return facts(octets)

    async def appears(self) -> None:
        """Return when the device is heard after it was not, or after the radio was at fault."""
        async with Radio.shared(self._settings.adapter) as radio:
            await radio.alone(self._settings)
            while not self._is_radios_fault:
                try:
                    await radio.find(
                        self._settings.matches, self._settings.gone_s, self._settings.what
                    )
                except TransportError:
                    break
                await asyncio.sleep(_LOOK_S)
            while True:
                with suppress(TransportError):
                    await radio.find(self._settings.matches, 60.0, self._settings.what)
                    return

    # Opening

    async def _link(self, stack: AsyncExitStack) -> None:
        """Connect and subscribe; a device that lacks what it should have gets a second try.

        Services may be incomplete after an aborted connect (BlueZ issue 1489) or stale after
        new firmware (bleak issue 882): the service then has to forget the device first.
        """
        try:
            await self._connect()
        except _LackingError:
            await self._forget()
            await self._connect()
        stack.push_async_callback(self._disconnect)
        await self._subscribe()

    async def _connect(self) -> None:
        radio, settings = self._radio, self._settings
        assert radio is not None
        device = await radio.find(settings.matches, settings.find_s, settings.what)
        namesake = radio.namesake(settings)
        if namesake is not None:
            raise namesake
        async with radio.connecting:
            if radio.links >= radio.limits.links:
                raise TransportError(
                    f"{settings.what} would be link {radio.links + 1} of {radio.limits.links}",
                    remedy="Use devices that advertise for further probes, or a second adapter",
                )
            client = BleakClient(
                device, disconnected_callback=self._on_disconnected, timeout=settings.connect_s
            )
            radio.links += 1
            self._client, self._device_path = client, device.details["path"]
            try:
                await client.connect()
                async with asyncio.timeout(settings.connect_s):
                    await self._survey(client)
            except FAILURES as error:
                await self._disconnect()
                raise trouble(f"connecting to {settings.what}", error) from error
            except BaseException:
                await self._disconnect()
                raise

    async def _forget(self) -> None:
        """Let the Bluetooth service forget the device and its cached attributes."""
        assert self._radio is not None
        log.warning("%s: the Bluetooth service is made to forget it", self._settings.what)
        await self._radio.watch.remove_device(self._device_path)

    async def _survey(self, client: BleakClient) -> None:
        """Name the characteristics that are wanted.

        Raises:
            TransportError: None of those needed is there.
        """
        settings = self._settings
        needed = {short_uuid(uuid) for uuid in settings.needed}
        wanted = {*needed, *settings.wanted}
        found = sorted(client.services.characteristics.values(), key=lambda one: one.handle)
        if settings.every:
            found = [one for one in found if _may_speak(one)]
        else:
            found = [one for one in found if short_uuid(one.uuid) in wanted]
        uuids = {short_uuid(one.uuid) for one in found}
        if not (uuids if settings.every else uuids & needed):
            has = ", ".join(sorted({short_uuid(s.uuid) for s in client.services})) or "none"
            raise _LackingError(
                f"{settings.what} has none of the characteristics {_words(settings)} "
                f"(its services: {has})",
                remedy="Check that the right driver is named for it: pitlogger devices scan",
            )
        described = [
            Described(short_uuid(one.uuid), one.handle, await self._descriptors(client, one, found))
            for one in found
        ]
        names = name_sources(described)
        self._sources = {names[one.handle]: one for one in found}

    async def _descriptors(
        self,
        client: BleakClient,
        one: BleakGATTCharacteristic,
        found: list[BleakGATTCharacteristic],
    ) -> dict[str, bytes]:
        """Read descriptors, only where they are needed to tell characteristics apart."""
        if sum(other.uuid == one.uuid for other in found) == 1:
            return {}
        octets: dict[str, bytes] = {}
        for descriptor in one.descriptors:
            with suppress(BleakGATTProtocolError):
                octets[short_uuid(descriptor.uuid)] = bytes(
                    await client.read_gatt_descriptor(descriptor)
                )
        return octets

    async def _subscribe(self) -> None:
        for name, one in self._sources.items():
            if not {"notify", "indicate"} & set(one.properties):
                continue
            try:
                await self._start_notify(name, one)
            except FAILURES as error:
                may_poll = isinstance(error, BleakGATTProtocolError) and self._is_readable(name)
                if may_poll:  # it refuses, as without a bond it may
                    continue
                raise trouble(f"subscribing to {name} of {self._settings.what}", error) from error
            self._subscribed.add(name)

    async def _start_notify(self, name: str, one: BleakGATTCharacteristic) -> None:
        assert self._client is not None
        async with asyncio.timeout(self._settings.connect_s):  # bleak itself waits for ever
            await self._client.start_notify(one, self._receiver(name))

    # Receiving

    def _on_heard(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        """Notice a second device of the name; the one linked need not speak on the air."""
        assert self._radio is not None
        if not self._settings.is_by_name or not self._settings.matches(device, advertisement):
            return
        linked = [self._client.address] if self._client is not None else []
        namesake = self._radio.namesake(self._settings, *linked, device.address)
        if namesake is not None:
            self._inbox.fail(namesake)

    def _receiver(self, name: str) -> Callable[[BleakGATTCharacteristic, bytearray], None]:
        loop = asyncio.get_running_loop()

        def receive(_one: BleakGATTCharacteristic, value: bytearray) -> None:
            octets, now_s = bytes(value), loop.time()
            self._told[name] = (now_s, octets)
            read_s, read = self._answered.get(name, (-_ECHO_S, b""))
            if now_s - read_s >= _ECHO_S or octets != read:
                self._inbox.put(name, octets)

        return receive

    def _on_loss(self, error: TransportError) -> None:
        self._is_radios_fault = True
        self._inbox.fail(error)

    def _on_disconnected(self, _client: BleakClient) -> None:
        self._inbox.fail(
            TransportError(
                f"the link to {self._settings.what} was lost",
                remedy="Bring it nearer or change its battery; it is connected again when heard",
            )
        )

    async def _pace(self) -> None:
        """Read what does not notify, and what has been silent for too long."""
        loop = asyncio.get_running_loop()
        due_s = {name: loop.time() for name in self._sources if self._is_readable(name)}
        for name in self._subscribed & set(due_s):
            due_s[name] += min(_FIRST_S, self._pause_s(name))  # it may send on change alone
        claimed = BATTERY in self._settings.wanted and BATTERY not in self._sources
        if claimed:
            due_s[BATTERY] = loop.time()
        while due_s:
            name = min(due_s, key=due_s.__getitem__)
            await asyncio.sleep(max(0.0, due_s[name] - loop.time()))
            told_s, _ = self._told.get(name, (0.0, b""))
            if name in self._subscribed and loop.time() - told_s < self._pause_s(name):
                due_s[name] = told_s + self._pause_s(name)
                continue
            if not await self._read(name):
                return
            due_s[name] = loop.time() + self._pause_s(name)

    def _is_readable(self, name: str) -> bool:
        return "read" in self._sources[name].properties

    def _pause_s(self, name: str) -> float:
        if name == BATTERY:
            return self._settings.battery_s
        return self._settings.check_s if name in self._subscribed else self._settings.poll_s

    async def _read(self, name: str) -> bool:
        """Read one value; return whether the link is still worth reading from."""
        client, radio = self._client, self._radio
        assert client is not None
        assert radio is not None
        if name not in self._sources:
            percent = await radio.watch.battery_percent(self._device_path)
            if percent is not None:
                self._inbox.put(name, bytes((percent,)))
            return True
        loop = asyncio.get_running_loop()
        asked_s = loop.time()
        try:
            async with asyncio.timeout(self._settings.connect_s):
                octets = bytes(await client.read_gatt_char(self._sources[name]))
        except FAILURES as error:
            self._inbox.fail(trouble(f"reading {name} of {self._settings.what}", error))
            return False
        self._answered[name] = (loop.time(), octets)
        told_s, told = self._told.get(name, (-1.0, b""))
        if told_s < asked_s or told != octets:
            self._inbox.put(name, octets)
        return True

    # Closing

    async def _disconnect(self) -> None:
        """Disconnect in any case: a device left connected cannot be found again."""
        client, self._client = self._client, None
        if client is None:
            return
        assert self._radio is not None
        self._radio.links -= 1
        with suppress(*FAILURES):
            async with asyncio.timeout(self._settings.close_s):
                await client.disconnect()
