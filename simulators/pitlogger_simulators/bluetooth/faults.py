"""Troubles to put in the way of a client, by step and device.

Each is taken off the list when it has struck ``times`` times; ``times=None`` stays.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum


class Step(StrEnum):
    """Where a trouble strikes."""

    SCAN_START = "scan-start"
    SCAN_STOP = "scan-stop"
    CONNECT = "connect"
    DISCOVER = "discover"
    SUBSCRIBE = "subscribe"
    READ = "read"
    READ_DESCRIPTOR = "read-descriptor"
    WRITE = "write"
    DISCONNECT = "disconnect"


class Kind(StrEnum):
    """What happens there."""

    ERROR = "error"  # the call is answered with ``error`` and ``text``
    HANG = "hang"  # the call is never answered
    DROP = "drop"  # the link is lost
    INCOMPLETE = "incomplete"  # discovery ends with the first service only


@dataclass(slots=True)
class Fault:
    """One trouble."""

    step: Step
    kind: Kind
    address: str | None = None  # any device
    error: str = "org.bluez.Error.Failed"
    text: str = ""
    times: int | None = 1


def in_progress(step: Step, address: str | None = None, times: int | None = 1) -> Fault:
    """Return BlueZ's answer to a second operation of a kind."""
    text = "Operation already in progress"
    return Fault(step, Kind.ERROR, address, "org.bluez.Error.InProgress", text, times)


def att_error(step: Step, code: int, address: str | None = None, times: int | None = 1) -> Fault:
    """Return a refusal by the peripheral's attribute server."""
    text = f"Operation failed with ATT error: 0x{code:02x}"
    return Fault(step, Kind.ERROR, address, "org.bluez.Error.Failed", text, times)


@dataclass(slots=True)
class Faults:
    """The troubles still to come."""

    pending: list[Fault] = field(default_factory=list)

    def add(self, fault: Fault) -> None:
        """Let a trouble strike when its step comes."""
        self.pending.append(fault)

    def forget(self, faults: Collection[Fault]) -> None:
        """Take troubles off the list; those that have struck are off already."""
        self.pending = [fault for fault in self.pending if not any(fault is f for f in faults)]

    def clear(self) -> None:
        """Let all go well from now on."""
        self.pending.clear()

    def take(self, step: Step, address: str | None) -> Fault | None:
        """Return the trouble that strikes at this step, and count it."""
        for fault in self.pending:
            if fault.step is step and fault.address in (None, address):
                if fault.times is not None:
                    fault.times -= 1
                    if fault.times <= 0:
                        self.pending.remove(fault)
                return fault
        return None
