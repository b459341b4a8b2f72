"""Troubles to put in the way of a client, by step and device.

Each is taken off the list when it has struck ``times`` times; ``times=None`` stays.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum
from random import Random


class RadioFaultPoint(StrEnum):
    """Where a trouble strikes."""

    SCAN_START = "scan-start"
    SCAN_STOP = "scan-stop"
    CONNECT = "connect"
    DISCOVER = "discover"
    SUBSCRIBE = "subscribe"
    READ = "read"
    READ_DESCRIPTOR = "read-descriptor"
    PAIR = "pair"
    WRITE = "write"
    DISCONNECT = "disconnect"


class RadioFaultKind(StrEnum):
    """What happens there."""

    ERROR = "error"  # the call is answered with ``error`` and ``text``
    HANG = "hang"  # the call is never answered
    DROP = "drop"  # the link is lost
    INCOMPLETE = "incomplete"  # discovery ends with the first service only


@dataclass(slots=True)
class RadioFault:
    """One trouble."""

    step: RadioFaultPoint
    kind: RadioFaultKind
    address: str | None = None  # any device
    error: str = "org.bluez.Error.Failed"
    text: str = ""
    times: int | None = 1
    characteristic: str | None = None  # any of its attributes; such as 2a6e#2
    chance: float = 1.0  # that it strikes when its step comes


def in_progress(
    step: RadioFaultPoint, address: str | None = None, times: int | None = 1
) -> RadioFault:
    """Return BlueZ's answer to a second operation of a kind."""
    text = "Operation already in progress"
    return RadioFault(
        step, RadioFaultKind.ERROR, address, "org.bluez.Error.InProgress", text, times
    )


def att_error(
    step: RadioFaultPoint, code: int, address: str | None = None, times: int | None = 1,
    characteristic: str | None = None, chance: float = 1.0,
) -> RadioFault:  # fmt: skip
    """Return a refusal by the peripheral's attribute server.

    Source of the names: BlueZ, ``create_gatt_dbus_error`` of its client (from memory).
    """
    named = _NAMED.get(code)
    error, text = named or ("Failed", f"Operation failed with ATT error: 0x{code:02x}")
    return RadioFault(
        step, RadioFaultKind.ERROR, address, f"org.bluez.Error.{error}", text, times,
        characteristic, chance,
    )  # fmt: skip


_NAMED = {
    0x02: ("NotPermitted", "Read not permitted"),
    0x03: ("NotPermitted", "Write not permitted"),
    0x05: ("NotPermitted", "Not paired"),
    0x06: ("NotSupported", "Operation is not supported"),
    0x08: ("NotAuthorized", "Operation Not Authorized"),
    0x0C: ("NotPermitted", "Not paired"),
    0x0F: ("NotPermitted", "Not paired"),
}


@dataclass(slots=True)
class RadioFaults:
    """The troubles still to come; ``random`` draws for those that strike by chance."""

    pending: list[RadioFault] = field(default_factory=list)
    random: Random = field(default_factory=lambda: Random(1))

    def add(self, fault: RadioFault) -> None:
        """Let a trouble strike when its step comes."""
        self.pending.append(fault)

    def forget(self, faults: Collection[RadioFault]) -> None:
        """Take troubles off the list; those that have struck are off already."""
        self.pending = [fault for fault in self.pending if not any(fault is f for f in faults)]

    def clear(self) -> None:
        """Let all go well from now on."""
        self.pending.clear()

    def take(
        self, step: RadioFaultPoint, address: str | None, characteristic: str | None = None
    ) -> RadioFault | None:
        """Return the trouble that strikes at this step, and count it."""
        for fault in self.pending:
            meant = fault.step is step and fault.address in (None, address)
            meant = meant and fault.characteristic in (None, characteristic)
            if meant and (fault.chance >= 1 or self.random.random() < fault.chance):
                if fault.times is not None:
                    fault.times -= 1
                    if fault.times <= 0:
                        self.pending.remove(fault)
                return fault
        return None
