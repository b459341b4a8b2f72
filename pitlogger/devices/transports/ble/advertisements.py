"""Devices that only advertise: the shared scanner hands their data on.

The last data of each kind stay in the Bluetooth service's cache and come again with every
sign of life, so the same bytes may come many times; decoders know repeats by packet id.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import AsyncExitStack
from functools import partial
from typing import ClassVar

from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import AdvertisementSettings, short_uuid
from pitlogger.devices.transports.inbox import Inbox
from pitlogger.errors import TransportError

SIGNAL = "rssi"  # source of the signal strength: one byte, signed, dBm
_TAKEN_OVER_S = 10.0  # silence of the adapter that heard it, after which another one counts
_UNKNOWN_DBM = -127  # bleak's word for no signal strength


class AdvertisementTransport:
    """What one device advertises."""

    only_listens: ClassVar[bool] = True

    def __init__(self, settings: AdvertisementSettings) -> None:
        self._settings = settings
        self._inbox = Inbox()
        self._stack = AsyncExitStack()
        self._signal_due_s = 0.0
        self._through: tuple[Radio, float] | None = None  # which adapter it was heard by; when

    async def __aenter__(self) -> AdvertisementTransport:
        radios = await Radio.all_usable(self._settings.adapter)
        async with AsyncExitStack() as stack:
            for radio in radios:
                await stack.enter_async_context(radio)
            for radio in radios:
                stack.callback(radio.on_deaf(partial(self._on_deaf, radios)))
                stack.callback(radio.listen(partial(self._on_heard, radio)))
            self._stack = stack.pop_all()
        return self

    async def __aexit__(self, *exc: object) -> None:
        await self._stack.aclose()

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield service or manufacturer data, and now and then the signal strength.

        Raises:
            TransportError: Nothing can be heard: no adapter, no service, or a scan that fails.
        """
        return self._inbox.chunks()

    async def send(self, data: bytes) -> None:
        """Refuse: a device that only advertises cannot be told anything."""
        raise TransportError(f"{self._settings.what} only advertises ({data.hex()})")

    async def appears(self) -> None:
        """Return when something can be heard again; it is the device's turn then."""
        async with await Radio.usable(self._settings.adapter) as radio:
            await radio.well()
            await radio.alone(self._settings)

    def _on_deaf(self, radios: Sequence[Radio], fault: TransportError) -> None:
        """End when no adapter hears any more; one alone may fail."""
        if all(radio.fault is not None for radio in radios):
            self._inbox.fail(fault)

    def _on_heard(self, radio: Radio, device: BLEDevice, advertisement: AdvertisementData) -> None:
        if not self._settings.matches(device, advertisement):
            return
        namesake = radio.namesake(self._settings, device.address)
        if namesake is not None:
            self._inbox.fail(namesake)
            return
        if self._is_repeated_by(radio):
            return
        for source, raw in self._wanted(advertisement):
            self._inbox.put(source, raw)
        now_s = asyncio.get_running_loop().time()
        if advertisement.rssi != _UNKNOWN_DBM and now_s >= self._signal_due_s:
            self._signal_due_s = now_s + self._settings.signal_s
            self._inbox.put(SIGNAL, advertisement.rssi.to_bytes(1, "little", signed=True))

    def _is_repeated_by(self, radio: Radio) -> bool:
        """Tell whether another adapter hears the same device, so that this is no news."""
        now_s = asyncio.get_running_loop().time()
        if self._through is not None:
            other, heard_s = self._through
            if other is not radio and now_s - heard_s < _TAKEN_OVER_S and other.fault is None:
                return True
        self._through = (radio, now_s)
        return False

    def _wanted(self, advertisement: AdvertisementData) -> Iterator[tuple[str, bytes]]:
        services = {short_uuid(uuid): data for uuid, data in advertisement.service_data.items()}
        makers = advertisement.manufacturer_data
        if self._settings.every:
            yield from ((f"service:{uuid}", raw) for uuid, raw in services.items())
            yield from ((f"maker:{code:04x}", raw) for code, raw in makers.items())
        elif self._settings.maker is not None:
            if self._settings.maker in makers:
                yield "", makers[self._settings.maker]
        elif (wanted := short_uuid(self._settings.service)) in services:
            yield "", services[wanted]
