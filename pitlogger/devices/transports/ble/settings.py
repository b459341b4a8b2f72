"""Which Bluetooth device, and what is wanted of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.errors import ConfigError

if TYPE_CHECKING:
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

BATTERY = "2a19"
_STATIC, _TOP = 0xC0, 0xC0  # two highest bits of a random address that stays
_TAIL = "-0000-1000-8000-00805f9b34fb"  # Bluetooth Core, vol. 3 part B, 2.5.1


def short_uuid(uuid: str) -> str:
    """Return the four hex digits of an assigned UUID, or the whole of another one."""
    lowered = uuid.lower()
    assigned = lowered.startswith("0000") and lowered.endswith(_TAIL)
    return lowered[4:8] if assigned else lowered


def full_uuid(uuid: str) -> str:
    """Return the 128-bit form of four hex digits; a long one is kept."""
    return f"0000{uuid.lower()}{_TAIL}" if len(uuid) == 4 else uuid.lower()


def is_private(address: str, kind: str) -> bool:
    """Tell whether an address is one that its device changes every few minutes.

    Of random addresses only those whose two highest bits are ones stay (Bluetooth Core, vol. 6
    part B, 1.3.2).
    """
    return kind == "random" and int(address[:2], 16) & _TOP != _STATIC


@dataclass(frozen=True, slots=True)
class DeviceSettings:
    """A device by its address, ``AA:BB:CC:DD:EE:FF``, or its name where the address changes.

    ``having`` is a service it advertises, for one without a name; ``adapter`` is such as
    ``hci0``, and the best placed where it is empty.
    """

    address: str = ""
    name: str = ""
    adapter: str = ""
    having: str = ""

    def __post_init__(self) -> None:
        if not (self.address or self.name or self.having):
            raise ConfigError(
                "a Bluetooth device needs its address, its name or its service; "
                "find them with: pitlogger devices scan"
            )

    @property
    def is_by_name(self) -> bool:
        """Whether nothing but a name identifies the device, which another may bear too."""
        return not self.address

    @property
    def what(self) -> str:
        """The device in words."""
        return f"Bluetooth device {self.called}"

    @property
    def called(self) -> str:
        """What identifies it: address, name or service."""
        return self.address or self.name or f"with service {self.having}"

    def matches(self, device: BLEDevice, advertisement: AdvertisementData) -> bool:
        """Tell whether an advertisement is this device's; an address beats a name."""
        if self.address:
            return device.address.upper() == self.address.upper()
        if self.name:
            return self.name in (advertisement.local_name, device.name)
        told = (*advertisement.service_uuids, *advertisement.service_data)
        return short_uuid(self.having) in {short_uuid(uuid) for uuid in told}


@dataclass(frozen=True, slots=True)
class GattWrite:
    """What is written once after connecting, and the wait after it, seconds."""

    characteristic: str
    data: bytes
    wait_s: float = 0.0


@dataclass(frozen=True, slots=True)
class GattSettings(DeviceSettings):
    """A device that is connected to.

    Attributes:
        needed: UUIDs of which at least one must be there.
        wanted: Further short UUIDs, taken if there.
        every: Take every characteristic that notifies or can be read, but those of the
            services every device has; ``needed`` does not count.
        start: What is written, in order, once values can come.
        written: UUID of the characteristic that commands are written to; empty for none.
        poll_s: Pause between reads of a characteristic that does not notify.
        check_s: Silence of a subscribed one after which it is read.
        gone_s: Silence after which a device that is heard counts as come back.
        find_s, connect_s, close_s: Patience, seconds of real time.
    """

    needed: tuple[str, ...] = ()
    wanted: tuple[str, ...] = (BATTERY,)
    every: bool = False
    written: str = ""
    start: tuple[GattWrite, ...] = ()
    poll_s: float = 5.0
    check_s: float = 30.0
    battery_s: float = 600.0
    gone_s: float = 5.0
    find_s: float = 20.0
    connect_s: float = 20.0
    close_s: float = 5.0


@dataclass(frozen=True, slots=True)
class AdvertisementSettings(DeviceSettings):
    """A device that only advertises, and the part of its advertisement that is wanted.

    Attributes:
        service: UUID of service data, short or long.
        maker: Company code of manufacturer data; it then counts in place of ``service``.
        every: Take all data, each from a source such as ``maker:004c``, ``service:fcd2``.
        signal_s: Pause between two reports of the signal strength.
    """

    service: str = ""
    maker: int | None = None
    every: bool = False
    signal_s: float = 30.0
