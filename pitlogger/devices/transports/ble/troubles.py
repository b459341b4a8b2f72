"""What bleak and BlueZ say, in words a person can act on."""

from __future__ import annotations

import asyncio

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
)

from pitlogger.errors import TransportError

# All that a call into bleak was seen to raise when adapter, service or bus go away.
FAILURES = (BleakError, OSError, EOFError, TimeoutError, AssertionError, asyncio.TimeoutError)

_REASON = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: (
        "there is no Bluetooth adapter",
        "Plug one in, or switch the built-in one on: rfkill unblock bluetooth",
    ),
    BleakBluetoothNotAvailableReason.POWERED_OFF: (
        "the Bluetooth adapter is off",
        "Switch it on: bluetoothctl power on, or rfkill unblock bluetooth",
    ),
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: (
        "the Bluetooth adapter cannot do Bluetooth Low Energy",
        "Use an adapter of Bluetooth 4.0 or later",
    ),
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: (
        "the system denies the use of Bluetooth",
        "Add the user to the group bluetooth: sudo usermod -aG bluetooth $USER",
    ),
}
_NO_SERVICE = (
    "the Bluetooth service is not running",
    "Start it: sudo systemctl start bluetooth",
)
_DBUS = {
    "org.freedesktop.DBus.Error.ServiceUnknown": _NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": _NO_SERVICE,
    "org.freedesktop.DBus.Error.NoReply": (
        "the Bluetooth service does not answer",
        "Restart it: sudo systemctl restart bluetooth",
    ),
    "org.freedesktop.DBus.Error.AccessDenied": _REASON[
        BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM
    ],
    "org.freedesktop.DBus.Error.UnknownObject": (
        "the device or the adapter is gone",
        "Check that the adapter is plugged in and the device is on",
    ),
    "org.bluez.Error.InProgress": (
        "the Bluetooth adapter is busy",
        "Let no other program scan or connect on it; pitlogger tries again",
    ),
    "org.bluez.Error.NotReady": _REASON[BleakBluetoothNotAvailableReason.POWERED_OFF],
}
_WORDS = {
    "concurrent-connection-limit": (
        "the adapter has no slot left for a further link",
        "Use fewer connected devices, devices that advertise, or a second adapter",
    ),
    "le-connection-abort-by-local": (
        "the link was given up while it was being made",
        (
            "Bring device and adapter nearer; let one program alone use the adapter; "
            "use 5 GHz Wi-Fi or a cable"
        ),
    ),
}


def trouble(what: str, error: BaseException) -> TransportError:
    """Return the error to show for a failure; ``what`` says what was being done."""
    reason, remedy = _explain(error)
    return TransportError(f"{what}: {reason}", remedy=remedy)


def is_busy(error: BaseException) -> bool:
    """Tell whether the service takes a call for a second one of a kind."""
    return isinstance(error, BleakDBusError) and error.dbus_error == "org.bluez.Error.InProgress"


def _explain(error: BaseException) -> tuple[str, str]:
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _REASON.get(error.reason, (str(error), "See pitlogger devices doctor"))
    if isinstance(error, BleakDBusError):
        text = str(error)
        found = next((said for word, said in _WORDS.items() if word in text), None)
        return found or _DBUS.get(error.dbus_error, (text, "See pitlogger devices doctor"))
    if isinstance(error, TimeoutError):
        return ("no answer in time", "Bring device and adapter nearer, and check its battery")
    if isinstance(error, OSError):
        return (
            f"the system's message bus cannot be reached ({error.strerror or error})",
            "Start it: sudo systemctl start dbus",
        )
    return (str(error) or type(error).__name__, "It is tried again")
