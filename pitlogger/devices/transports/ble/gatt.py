"""One connected device: found, connected, its values named; reported when it is lost.

Each characteristic is a source, named as ``names`` says and followed as ``sources`` says. bleak
says nothing when the adapter or the service goes.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, suppress

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import BleakError

from pitlogger.devices.contract import Chunk
from pitlogger.devices.tasks import end
from pitlogger.devices.transports.ble.facts import CURRENT_TIME, STRINGS, facts
from pitlogger.devices.transports.ble.names import CharacteristicName, name_sources
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import GattSettings, short_uuid
from pitlogger.devices.transports.ble.sources import Sources
from pitlogger.devices.transports.ble.troubles import FAILURES, is_full, is_refusal, trouble
from pitlogger.devices.transports.inbox import Inbox
from pitlogger.errors import TransportError

log = logging.getLogger(__name__)

# Generic Access, Generic Attribute, Device Information (Bluetooth Assigned Numbers).
_OF_EVERY_DEVICE = frozenset(("1800", "1801", "180a"))
_GRACE_S = 0.1  # for the word of an adapter that went, which takes all its links along
_LOOK_S = 1.0  # between two looks whether a device is still heard


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
        self._named: dict[str, BleakGATTCharacteristic] = {}
        self._is_radios_fault = False
        self._opening: asyncio.Timeout | None = None  # what a loss of the adapter breaks off
        self._loss: TransportError | None = None

    async def __aenter__(self) -> GattTransport:
        async with AsyncExitStack() as stack:
            radio = await Radio.chosen(self._settings.adapter, self._settings.what)
            self._radio = radio
            await stack.enter_async_context(radio)
            stack.callback(radio.on_loss(self._on_loss))
            stack.callback(radio.listen(self._on_heard))
            try:
                async with asyncio.timeout(None) as self._opening:
                    sources = await self._link(stack)
            except (TransportError, TimeoutError) as error:
                await asyncio.sleep(_GRACE_S)
                if self._loss is not None:
                    raise self._loss from error
                self._is_radios_fault |= radio.fault is not None
                radio.failed[self._settings.what] += 1
                raise
            finally:
                self._opening = None
            radio.failed.pop(self._settings.what, None)
            following = asyncio.get_running_loop().create_task(sources.follow(), name="gatt")
            stack.push_async_callback(end, following)
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
                await client.write_gatt_char(self._taker(client, uuid), data)
        except FAILURES as error:
            raise trouble(f"writing to {uuid} of {what}", error) from error

    async def facts(self) -> dict[str, str]:
        """Return what the device says about itself; what cannot be read is left out."""
        client = self._client
        raw: dict[str, bytes] = {}
        if client is None:
            return {}
        for one in client.services.characteristics.values():
            uuid = short_uuid(one.uuid)
            if uuid in (*STRINGS, CURRENT_TIME) and "read" in one.properties:
                with suppress(*FAILURES):
                    async with asyncio.timeout(self._settings.connect_s):
                        raw[uuid] = bytes(await client.read_gatt_char(one))
        return facts(raw)

    async def appears(self) -> None:
        """Return when the device is heard after it was not, or after the radio was at fault."""
        async with await Radio.usable(self._settings.adapter, self._settings.what) as radio:
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

    async def _link(self, stack: AsyncExitStack) -> Sources:
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
        radio, client = self._radio, self._client
        assert radio is not None
        assert client is not None
        path = self._device_path
        sources = Sources(
            self._settings,
            client,
            self._named,
            self._inbox,
            lost=self._lose,
            claimed_battery=lambda: radio.watch.battery_percent(path),
        )
        await sources.subscribe()
        await self._start(client)
        return sources

    async def _start(self, client: BleakClient) -> None:
        """Write what makes the device send, in order."""
        for one in self._settings.start:
            try:
                async with asyncio.timeout(self._settings.connect_s):
                    await client.write_gatt_char(self._taker(client, one.characteristic), one.data)
            except FAILURES as error:
                doing = f"writing {one.data.hex()} to {one.characteristic} of {self._settings.what}"
                raise trouble(doing, error) from error
            await asyncio.sleep(one.wait_s)

    def _taker(self, client: BleakClient, uuid: str) -> BleakGATTCharacteristic:
        found = [c for c in client.services.characteristics.values() if is_uuid(c, uuid)]
        if not found:
            raise TransportError(f"{self._settings.what} has no characteristic {uuid} to write to")
        return found[0]

    async def _connect(self) -> None:
        radio, settings = self._radio, self._settings
        assert radio is not None
        device = await radio.find(settings.matches, settings.find_s, settings.what)
        namesake = radio.namesake(settings)
        if namesake is not None:
            raise namesake
        if radio.limit is not None and radio.links >= radio.limit:
            raise TransportError(
                f"{settings.what} would be link {radio.links + 1} of adapter {radio.adapter}, "
                f"which carries {radio.limit}",
                remedy="Use devices that advertise for further probes, or a second adapter",
            )
        client = BleakClient(
            device, disconnected_callback=self._on_disconnected, timeout=settings.connect_s
        )
        radio.links += 1
        path = device.details["path"]
        self._client, self._device_path = client, path
        try:
            await radio.turns.connect(
                settings.what, client.connect(), lambda: radio.watch.is_linked(path)
            )
            async with asyncio.timeout(settings.connect_s):
                await self._survey(client)
        except FAILURES as error:
            await self._disconnect()
            if is_full(error):
                radio.is_full()
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
            CharacteristicName(
                short_uuid(one.uuid), one.handle, await self._descriptors(client, one, found)
            )
            for one in found
        ]
        names = name_sources(described)
        self._named = {names[one.handle]: one for one in found}

    async def _descriptors(
        self,
        client: BleakClient,
        one: BleakGATTCharacteristic,
        found: list[BleakGATTCharacteristic],
    ) -> dict[str, bytes]:
        """Read descriptors, only where they are needed to distinguish characteristics."""
        if sum(other.uuid == one.uuid for other in found) == 1:
            return {}
        raw: dict[str, bytes] = {}
        for descriptor in one.descriptors:
            try:
                read = await client.read_gatt_descriptor(descriptor)
            except BleakError as error:
                if not is_refusal(error):
                    raise
                continue
            raw[short_uuid(descriptor.uuid)] = bytes(read)
        return raw

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

    def _on_loss(self, error: TransportError) -> None:
        self._is_radios_fault, self._loss = True, error
        self._inbox.fail(error)
        if self._opening is not None and not self._opening.expired():
            self._opening.reschedule(asyncio.get_running_loop().time())

    def _on_disconnected(self, _client: BleakClient) -> None:
        self._lose(
            TransportError(
                f"the link to {self._settings.what} was lost",
                remedy="Bring it nearer or change its battery; it is connected again when heard",
            )
        )

    def _lose(self, error: TransportError) -> None:
        """Tell of a lost link, once the adapter had time to say that it is the one that went."""
        asyncio.get_running_loop().call_later(_GRACE_S, self._inbox.fail, error)

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
