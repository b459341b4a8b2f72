"""Peripherals as a scenario describes them: attributes, values, advertisement.

A peripheral knows nothing of D-Bus; ``tree`` gives it its place there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

_TAIL = "-0000-1000-8000-00805f9b34fb"  # Bluetooth Core, vol. 3 part B, 2.5.1
USER_DESCRIPTION = "2901"
PRESENTATION_FORMAT = "2904"
ES_MEASUREMENT = "290c"


def full_uuid(uuid: str) -> str:
    """Return the 128-bit form of a 16-bit UUID such as ``2a6e``; a long one is kept."""
    return f"0000{uuid.lower()}{_TAIL}" if len(uuid) == 4 else uuid.lower()


def short_uuid(uuid: str) -> str:
    """Return the four hex digits of an assigned UUID, or the whole of another one."""
    assigned = uuid.startswith("0000") and uuid[8:].lower() == _TAIL
    return uuid[4:8].lower() if assigned else uuid.lower()


@dataclass(slots=True)
class Descriptor:
    """A descriptor: 16-bit or long UUID and its bytes."""

    uuid: str
    value: bytes


@dataclass(slots=True)
class Characteristic:
    """A characteristic; ``flags`` are BlueZ's words: ``read notify indicate write``.

    ``needs_bond``: it is refused as "Not paired" until its device is bonded.
    """

    uuid: str
    flags: tuple[str, ...] = ("read", "notify")
    value: bytes = b""
    descriptors: tuple[Descriptor, ...] = ()
    write: bytes = b""  # what a client wrote last
    needs_bond: bool = False
    writes: list[bytes] = field(default_factory=list)  # all that clients wrote, oldest first


@dataclass(slots=True)
class GattService:
    """A primary service and its characteristics in handle order."""

    uuid: str
    characteristics: tuple[Characteristic, ...]


class PairingWay(StrEnum):
    """How a peripheral pairs: which of the agent's methods is called."""

    JUST_WORKS = "just-works"
    TYPED = "typed"  # it shows a passkey, which the person types (RequestPasskey)
    SHOWN = "shown"  # the person types what the computer shows (DisplayPasskey)
    COMPARED = "compared"  # both show one, the person compares (RequestConfirmation)
    REFUSED = "refused"  # it never pairs


@dataclass(slots=True)
class Pairing:
    """What pairing with a peripheral takes, and whether each side still knows the bond.

    ``forgot``: the peripheral lost its bond, as after a reset; the service still has its own.
    """

    way: PairingWay = PairingWay.JUST_WORKS
    passkey: int = 123_456
    bonded: bool = False
    forgot: bool = False


@dataclass(slots=True)
class Peripheral:
    """One device in radio reach.

    Attributes:
        address: ``AA:BB:CC:DD:EE:FF``.
        vanishes: Forgotten as soon as nobody scans, as a random address may be
            (BlueZ issues 214, 445, 1269).
        heard: Sends advertisements now.
        claimed_battery: Level the service shows as its own Battery interface, as it does
            where it claims the Battery Service for itself.
        discovery_s: How much longer than others it takes to tell its services.
    """

    address: str
    name: str
    services: tuple[GattService, ...] = ()
    rssi: int = -60
    service_data: dict[str, bytes] = field(default_factory=dict)
    manufacturer_data: dict[int, bytes] = field(default_factory=dict)
    vanishes: bool = False
    heard: bool = True
    claimed_battery: int | None = None
    pairing: Pairing = field(default_factory=Pairing)
    discovery_s: float = 0.0
    is_private: bool = False  # its address is a private one, which it changes now and then
    is_linked: bool = False  # to any adapter; it then advertises no more

    def characteristics(self) -> Iterator[Characteristic]:
        """Yield all characteristics in handle order."""
        for service in self.services:
            yield from service.characteristics

    def characteristic(self, name: str) -> Characteristic:
        """Return the characteristic named ``2a6e``, or ``2a6e#2`` for the second of that UUID."""
        uuid, _, ordinal = name.partition("#")
        found = [c for c in self.characteristics() if short_uuid(full_uuid(c.uuid)) == uuid.lower()]
        try:
            return found[int(ordinal or 1) - 1]
        except IndexError:
            known = ", ".join(short_uuid(full_uuid(c.uuid)) for c in self.characteristics())
            raise KeyError(f"{self.address} has no characteristic {name}; it has {known}") from None


def user_description(text: str) -> Descriptor:
    """Return a Characteristic User Description (0x2901)."""
    return Descriptor(USER_DESCRIPTION, text.encode())


def presentation_format(
    value_format: int, exponent: int, unit: int, description: int
) -> Descriptor:
    """Return a Characteristic Presentation Format (0x2904), namespace 1.

    Source: Bluetooth Core, vol. 3 part G, 3.3.3.5; units and formats from Assigned Numbers.
    """
    packed = struct.pack("<BbHBH", value_format, exponent, unit, 1, description)
    return Descriptor(PRESENTATION_FORMAT, packed)


def es_measurement(application: int, interval_s: int = 1) -> Descriptor:
    """Return an ES Measurement descriptor (0x290C), 11 bytes.

    Source: Environmental Sensing Service 1.0, 3.1.2.1.
    """
    period = interval_s.to_bytes(3, "little")
    return Descriptor(
        ES_MEASUREMENT, b"\0\0" + b"\1" + period + period + bytes((application,)) + b"\xff"
    )
