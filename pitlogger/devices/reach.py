"""What is in reach: Bluetooth devices, serial ports, USB scales, kernel sensors.

Each find carries signs, and a driver that names one of them may suit it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from pitlogger.devices.contract import DriverInfo
from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import is_private, short_uuid
from pitlogger.devices.transports.hidraw import SYSFS, nodes
from pitlogger.devices.transports.ports import ports

_SYS = Path("/sys")
_USABLE_DBM = -85  # common practice, no source: weaker links come and go


@dataclass(frozen=True, slots=True)
class Find:
    """One device in reach.

    Attributes:
        way: ``bluetooth``, ``serial``, ``hid``, ``w1``, ``iio`` or ``hwmon``.
        address: What a configuration calls it: address, port, serial number, id, name.
        signal_dbm: Signal strength, for Bluetooth alone.
        keys: Keys of a configuration that name it.
        remark: What to mind about its name; often nothing.
    """

    way: str
    address: str
    name: str
    signs: frozenset[str]
    keys: tuple[tuple[str, str], ...] = ()
    signal_dbm: int | None = None
    remark: str = ""

    @property
    def note(self) -> str:
        """A remark for the person, or nothing."""
        weak = self.signal_dbm is not None and self.signal_dbm < _USABLE_DBM
        parts = ("weak: bring it or the adapter nearer" if weak else "", self.remark)
        return "; ".join(part for part in parts if part)


def suiting(find: Find, infos: Iterable[DriverInfo]) -> list[str]:
    """Return the names of the drivers that may suit a find."""
    return sorted(info.name for info in infos if find.signs & set(info.signs))


def wired(sys: Path = _SYS, hid: Path = SYSFS) -> Iterator[Find]:
    """Yield what is plugged in or soldered on; blocks for a moment."""
    for port in ports():
        keys = (("port", port.name),)
        name = port.name.rpartition("/")[2]
        yield Find("serial", port.name, name, frozenset(("port",)), keys, remark=port.note)
    for node in nodes(hid):
        sign = f"hid:{node.usage_page:02x}:{node.usage:02x}"
        serial = (("serial", node.serial),) if node.serial else ()
        yield Find("hid", node.path, node.serial, frozenset((sign,)), serial)
    for sensor in sorted((sys / "bus/w1/devices").glob("28-*")):
        yield Find("w1", sensor.name, "", frozenset(("w1",)), (("sensor", sensor.name),))
    for way, pattern in (("iio", "bus/iio/devices/iio:device*"), ("hwmon", "class/hwmon/hwmon*")):
        for folder in sorted(sys.glob(pattern)):
            if any(folder.glob("*temp*")):
                name = _name(folder)
                yield Find(way, folder.name, name, frozenset((way,)), (("name", name),))


def _name(folder: Path) -> str:
    try:
        return (folder / "name").read_text("ascii", errors="replace").strip()
    except OSError:
        return ""


async def heard(seconds: float, adapter: str = "") -> list[Find]:
    """Return the Bluetooth devices heard in a while, the strongest first.

    Raises:
        TransportError: The adapter cannot scan.
    """
    found: dict[str, Find] = {}

    def hear(device: BLEDevice, advertisement: AdvertisementData) -> None:
        found[device.address] = _find(device, advertisement)

    async with await Radio.chosen(adapter) as radio:
        unlisten = radio.listen(hear)
        await asyncio.sleep(seconds)
        unlisten()
        if radio.fault is not None and not found:
            raise radio.fault
    return sorted(found.values(), key=lambda find: -(find.signal_dbm or -127))


def _find(device: BLEDevice, advertisement: AdvertisementData) -> Find:
    services = {f"service:{short_uuid(uuid)}" for uuid in advertisement.service_uuids}
    data = {f"service-data:{short_uuid(uuid)}" for uuid in advertisement.service_data}
    name = advertisement.local_name or device.name or ""
    keys, remark = _told_by(device, advertisement, name)
    return Find(
        "bluetooth", device.address, name, frozenset(services | data), keys, advertisement.rssi,
        remark,
    )  # fmt: skip


def _told_by(
    device: BLEDevice, advertisement: AdvertisementData, name: str
) -> tuple[tuple[tuple[str, str], ...], str]:
    """Return the keys by which a configuration finds a device again, and what to mind.

    An address that changes is never one of them.
    """
    properties = device.details.get("props", {}) if isinstance(device.details, dict) else {}
    kind = str(properties.get("AddressType", "public"))
    if not is_private(device.address, kind) or properties.get("Paired"):
        return (("address", device.address),), ""
    if name:
        return (("name", name),), "its address changes: recognised by its name"
    told = sorted(
        {short_uuid(u) for u in (*advertisement.service_uuids, *advertisement.service_data)}
    )
    if told:
        return (
            ("service", told[0]),
        ), "its address changes: recognised by its service, so have one alone"
    return (), "its address changes and nothing else tells it: pair it (pitlogger devices pair)"
