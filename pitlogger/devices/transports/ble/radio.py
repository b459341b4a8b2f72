"""A radio is one adapter as the devices of this process share it: one scanner, one connect.

Several adapters share the devices that name none; each fails alone.

A second scanner on an adapter is answered with InProgress, and a controller makes one
connection at a time (bleak issues 178, 958, 1603; bleak-retry-connector 233). The scanner runs
as long as anybody uses the radio; connects happen while it runs, since a device with a random
address may be forgotten when scanning stops (BlueZ issues 214, 445, 1269).
"""

from __future__ import annotations

import asyncio
import logging
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from copy import copy
from dataclasses import dataclass
from typing import ClassVar
from weakref import WeakKeyDictionary

from bleak import BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from pitlogger.devices.tasks import end
from pitlogger.devices.transports.ble.adapters import adapters, unusable
from pitlogger.devices.transports.ble.namesakes import Namesakes
from pitlogger.devices.transports.ble.settings import DeviceSettings
from pitlogger.devices.transports.ble.troubles import BLOCKED, FAILURES, OFF, is_busy, trouble
from pitlogger.devices.transports.ble.turns import Turns
from pitlogger.devices.transports.ble.watch import AdapterChange, BluezWatch
from pitlogger.errors import TransportError

log = logging.getLogger(__name__)

_LOOK_S = 1.0  # between two looks whether a name is borne by one device
_DEAF = 3  # scans in a row that did not start, after which those that listen are notified
_HOPELESS = 3  # silences in a row after which only a restart of the service is left

Heard = Callable[[BLEDevice, AdvertisementData], None]
Matches = Callable[[BLEDevice, AdvertisementData], bool]


@dataclass(frozen=True, slots=True)
class RadioLimits:
    """Patience of a radio, seconds of real time.

    Start 15 s, look 30 s, silence 90 s are the figures of habluetooth; turn and learning are
    ours. ``links`` caps the links; adapters carry 5 to 8 (bleak-retry-connector issue 67), and
    where it is ``None`` how many is learned from the first that is refused.
    """

    start_s: float = 15.0
    look_s: float = 30.0
    silence_s: float = 90.0
    pause_s: float = 1.0
    pause_cap_s: float = 10.0
    turn_s: float = 4.0
    relearn_s: float = 300.0
    links: int | None = None


_RADIOS: WeakKeyDictionary[asyncio.AbstractEventLoop, dict[str, Radio]] = WeakKeyDictionary()


class Radio:
    """One adapter of one event loop. Get it with ``chosen`` or ``shared``; enter it to use it."""

    limits: ClassVar[RadioLimits] = RadioLimits()

    def __init__(self, adapter: str) -> None:
        self.adapter = adapter
        self._users = 0
        self._task: asyncio.Task[None] | None = None
        self._ending: asyncio.Task[None] | None = None
        self._listeners: list[Heard] = []
        self._losers: list[Callable[[TransportError], None]] = []
        self._deaf: list[Callable[[TransportError], None]] = []
        self._restart = asyncio.Event()
        self._heard_s = 0.0
        self._silences = 0
        self._failures = 0  # scans in a row that did not start
        self._cycling = False
        self.turns = Turns(self.limits.turn_s)
        self.links = 0
        self.failed: Counter[str] = Counter()  # connects in a row, by device
        self._full: tuple[int, float] | None = None  # links it carried when it refused one; when
        self.watch = BluezWatch(adapter, self._on_change)
        self.fault: TransportError | None = None
        self._well = asyncio.Event()
        self._namesakes: dict[str, Namesakes] = {}

    @classmethod
    def shared(cls, adapter: str = "hci0") -> Radio:
        """Return the radio of the running loop for an adapter."""
        radios = _RADIOS.setdefault(asyncio.get_running_loop(), {})
        if adapter not in radios:
            radios[adapter] = cls(adapter)
        return radios[adapter]

    @classmethod
    async def chosen(cls, adapter: str, what: str = "") -> Radio:
        """Return the radio that is to carry a device: the one named, or the one best placed.

        That is one that can scan and has a slot, with which this device failed least, which
        carries the fewest.

        Raises:
            TransportError: There is no adapter that can be used, or no Bluetooth service.
        """
        return min(
            await cls.all_usable(adapter),
            key=lambda r: (
                r.fault is not None, r.limit is not None and r.links >= r.limit,
                r.failed[what], r.links + r.users,
            ),
        )  # fmt: skip

    @classmethod
    async def all_usable(cls, adapter: str) -> list[Radio]:
        """Return the radios of an adapter named, or of all.

        Raises:
            TransportError: There is none that can be used, or no Bluetooth service.
        """
        if adapter:
            return [cls.shared(adapter)]
        found = await adapters()
        radios = [cls.shared(one.name) for one in found if one.usable]
        if not radios:
            raise unusable(found)
        return radios

    @classmethod
    async def usable(cls, adapter: str, what: str = "") -> Radio:
        """Return the radio for a device as soon as there is one."""
        while True:
            with suppress(TransportError):
                return await cls.chosen(adapter, what)
            await asyncio.sleep(_LOOK_S)

    @property
    def users(self) -> int:
        """How many use it, connected or listening."""
        return self._users

    @property
    def limit(self) -> int | None:
        """How many links it carries, as far as that is known."""
        if self._full is not None:
            links, learned_s = self._full
            if asyncio.get_running_loop().time() - learned_s < self.limits.relearn_s:
                return links
            self._full = None
        return self.limits.links

    def is_full(self) -> None:
        """Learn that no further link was taken than those there are."""
        self._full = (self.links, asyncio.get_running_loop().time())

    async def __aenter__(self) -> Radio:
        self._users += 1
        if self._task is None:
            run = self._run(self._ending)
            self._task = asyncio.get_running_loop().create_task(run, name="radio")
        return self

    async def __aexit__(self, *exc: object) -> None:
        self._users -= 1
        if self._users == 0 and self._task is not None:
            self._ending, self._task = self._task, None
            await end(self._ending)

    def listen(self, heard: Heard) -> Callable[[], None]:
        """Call ``heard`` with every advertisement; return what ends it."""
        self._listeners.append(heard)
        return lambda: self._listeners.remove(heard)

    def namesake(self, settings: DeviceSettings, *addresses: str) -> TransportError | None:
        """Return the error of a second device of the name; ``addresses`` speak now."""
        if not settings.is_by_name:
            return None
        now_s = asyncio.get_running_loop().time()
        known = self._namesakes.setdefault(settings.called, Namesakes(settings.called))
        for address in addresses:
            known.hear(address, now_s)
        return known.trouble(now_s)

    async def alone(self, settings: DeviceSettings) -> None:
        """Return when no two devices of the name speak any more."""

        def heard(device: BLEDevice, advertisement: AdvertisementData) -> None:
            if settings.matches(device, advertisement):
                self.namesake(settings, device.address)

        unlisten = self.listen(heard)
        try:
            while self.namesake(settings) is not None:  # noqa: ASYNC110 - it wears off
                await asyncio.sleep(_LOOK_S)
        finally:
            unlisten()

    def on_deaf(self, lost: Callable[[TransportError], None]) -> Callable[[], None]:
        """Call ``lost`` while nothing can be heard, now too; links may live on. Returns the end."""
        self._deaf.append(lost)
        if self.fault is not None and not 0 < self._failures < _DEAF:
            lost(copy(self.fault))
        return lambda: self._deaf.remove(lost)

    async def well(self) -> None:
        """Return when the scanner runs and nothing is wrong with it."""
        await self._well.wait()

    def on_loss(self, lost: Callable[[TransportError], None]) -> Callable[[], None]:
        """Call ``lost`` when adapter or service go, and all links with them. Returns the end."""
        self._losers.append(lost)
        return lambda: self._losers.remove(lost)

    async def find(self, matches: Matches, patience_s: float, what: str) -> BLEDevice:
        """Return the first device heard that matches.

        Raises:
            TransportError: None was heard in time, or the adapter cannot scan.
        """
        loop = asyncio.get_running_loop()
        found: asyncio.Future[BLEDevice] = loop.create_future()

        def heard(device: BLEDevice, advertisement: AdvertisementData) -> None:
            if not found.done() and matches(device, advertisement):
                found.set_result(device)

        unlisten = self.listen(heard)
        try:
            for wait_s in (patience_s * 0.2, patience_s * 0.8):
                await asyncio.wait({found}, timeout=wait_s)
                if found.done():
                    return found.result()
                if self.fault is not None:
                    raise copy(self.fault)
            raise TransportError(
                f"{what} was not heard for {patience_s:g} s",
                remedy="Check that it is on, near, and not connected to a phone",
            )
        finally:
            unlisten()
            found.cancel()

    # The scanner

    async def _run(self, before: asyncio.Task[None] | None) -> None:
        """Keep scanning for as long as the radio is used, once the run before has ended.

        Else that one would stop our scan, and take the watch away.
        """
        if before is not None:
            await asyncio.wait({before})
        pause_s = self.limits.pause_s
        try:
            while True:
                self._restart.clear()
                if await self._scan_once():
                    pause_s = self.limits.pause_s
                    continue
                with suppress(TimeoutError):
                    async with asyncio.timeout(pause_s):
                        await self._restart.wait()
                pause_s = min(pause_s * 2, self.limits.pause_cap_s)
        finally:
            await self.watch.close()

    async def _scan_once(self) -> bool:
        """Scan until asked to start anew; return whether scanning came about at all."""
        scanner = BleakScanner(self._on_heard, bluez={"adapter": self.adapter})
        try:
            await self.watch.open()
            async with asyncio.timeout(self.limits.start_s):
                await scanner.start()
        except FAILURES as error:
            await self._take_failure(error)
            return False
        self._failures = 0
        if self._silences < _HOPELESS:
            self._is_well()
        self._heard_s = asyncio.get_running_loop().time()
        try:
            await self._until_restart()
        finally:
            with suppress(*FAILURES):
                async with asyncio.timeout(self.limits.start_s):
                    await scanner.stop()
        return True

    async def _take_failure(self, error: BaseException) -> None:
        """Tell of a scan that did not start, and cure what trying again will not.

        A start that was given up may have come about all the same; the service then takes every
        further one for a second scan of ours, until the adapter was off.
        """
        fault = trouble("scanning for Bluetooth devices", error)
        log.warning("%s", fault)
        self._failures += 1
        if self._failures < _DEAF:  # it is tried again in a moment, and mostly works
            self.fault = fault
            return
        self._is_deaf(fault)
        if is_busy(error) and self.links == 0 and self._failures % _DEAF == 0:
            await self._cycle_adapter("scanning stays busy")

    async def _until_restart(self) -> None:
        """Return when adapter or service came anew, or nothing at all is heard any more."""
        loop = asyncio.get_running_loop()
        while not self._restart.is_set():
            with suppress(TimeoutError):
                async with asyncio.timeout(self.limits.look_s):
                    await self._restart.wait()
                    return
            silence_s = loop.time() - self._heard_s
            if self._listeners and silence_s >= self.limits.silence_s:
                await self._wake_adapter(silence_s)
                return

    async def _wake_adapter(self, silence_s: float) -> None:
        """Start the scanner anew, then the adapter, then ask a person to restart the service.

        The service's idea of scanning can get stuck (BlueZ issues 807, 1554; bleak 2021, 2022).
        """
        self._silences += 1
        heard = f"no Bluetooth device at all was heard for {silence_s:.0f} s"
        if self._silences == 1:
            log.warning("%s: starting the scanner anew", heard)
        elif self.links == 0 and (self._silences == 2 or self._silences % 10 == 0):
            await self._cycle_adapter(heard)
        if self._silences == _HOPELESS:
            fault = TransportError(
                heard, remedy="Restart the Bluetooth service: sudo systemctl restart bluetooth"
            )
            log.error("%s", fault)
            self._is_deaf(fault)

    async def _cycle_adapter(self, why: str) -> None:
        log.warning("%s: switching the adapter off and on", why)
        self._cycling = True
        await self.watch.power_cycle()
        self._cycling = False

    def _on_heard(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        self._heard_s = asyncio.get_running_loop().time()
        if self._silences:
            self._silences = 0
            self._is_well()
        for listener in tuple(self._listeners):
            listener(device, advertisement)

    def _on_change(self, change: AdapterChange) -> None:
        if self._cycling:
            return
        self._full = None
        if change is AdapterChange.CAME:
            self._restart.set()
            return
        fault = _loss(self.adapter, change)
        self._is_deaf(fault)
        for lost in tuple(self._losers):
            lost(copy(fault))

    def _is_well(self) -> None:
        self.fault = None
        self._well.set()

    def _is_deaf(self, fault: TransportError) -> None:
        self.fault = fault
        self._well.clear()
        for lost in tuple(self._deaf):
            lost(copy(fault))


def _loss(adapter: str, change: AdapterChange) -> TransportError:
    """Return the message about an adapter that went while it was used."""
    if change is AdapterChange.SERVICE_GONE:
        return TransportError(
            "the Bluetooth service went away", remedy="See how it fares: systemctl status bluetooth"
        )
    if change is AdapterChange.PULLED:
        return TransportError(
            f"the Bluetooth adapter {adapter} went away",
            remedy="Check its plug; it is used again when it is back",
        )
    reason, remedy = BLOCKED if change is AdapterChange.BLOCKED else OFF
    return TransportError(f"{reason} ({adapter}), since just now", remedy=remedy)
