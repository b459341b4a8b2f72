"""What bleak and BlueZ say, in words a person can act on.

Sources: BlueZ D-Bus API documents (names of errors); Bluetooth Core Specification, vol. 1
part F (controller errors), vol. 3 part F, 3.4.1.1 (attribute errors).
"""

from __future__ import annotations

import asyncio
import re

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
    BleakGATTProtocolError,
)

from pitlogger.errors import TransportError

# All that a call into bleak was seen to raise when adapter, service or bus go away.
FAILURES = (BleakError, OSError, EOFError, TimeoutError, AssertionError, asyncio.TimeoutError)

Words = tuple[str, str]  # what is wrong, what to do

PAIR = "Pair it once: pitlogger devices pair ADDRESS (or its name)"
PAIR_ANEW = (
    "Make the device ready to pair (its manual says how), then: "
    "pitlogger devices pair ADDRESS --anew"
)
BLOCKED: Words = ("the Bluetooth adapter is blocked", "Unblock it: rfkill unblock bluetooth")
OFF: Words = (
    "the Bluetooth adapter is off",
    "Switch it on: bluetoothctl power on, or rfkill unblock bluetooth",
)
DENIED: Words = (
    "the system denies the use of Bluetooth",
    "Add the user to the group bluetooth: sudo usermod -aG bluetooth $USER, then log in again",
)
NO_SERVICE: Words = (
    "the Bluetooth service is not running",
    "Start it: sudo systemctl start bluetooth",
)
_NO_SLOT: Words = (
    "the adapter has no slot left for a further link",
    "Use fewer connected devices, devices that advertise, or a second adapter",
)
_NOT_PAIRED: Words = ("it answers only to a computer it is paired with", PAIR)
_NEARER = "Bring device and adapter nearer, and check its battery"

_REASON = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: (
        "there is no Bluetooth adapter",
        "Plug one in, or switch the built-in one on: rfkill unblock bluetooth",
    ),
    BleakBluetoothNotAvailableReason.POWERED_OFF: OFF,
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: (
        "the Bluetooth adapter cannot do Bluetooth Low Energy",
        "Use an adapter of Bluetooth 4.0 or later",
    ),
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: DENIED,
}
_DBUS: dict[str, Words] = {
    "org.freedesktop.DBus.Error.ServiceUnknown": NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": NO_SERVICE,
    "org.freedesktop.DBus.Error.NoReply": (
        "the Bluetooth service does not answer",
        "Restart it: sudo systemctl restart bluetooth",
    ),
    "org.freedesktop.DBus.Error.AccessDenied": DENIED,
    "org.freedesktop.DBus.Error.UnknownObject": (
        "the device or the adapter is gone",
        "Check that the adapter is plugged in and the device is on",
    ),
    "org.bluez.Error.InProgress": (
        "the Bluetooth adapter is busy",
        "Let no other program scan or connect on it; pitlogger tries again",
    ),
    "org.bluez.Error.NotReady": OFF,
    "org.bluez.Error.NotPermitted": _NOT_PAIRED,
    "org.bluez.Error.NotAuthorized": _NOT_PAIRED,
    "org.bluez.Error.AuthenticationFailed": (
        "device and computer do not agree on their pairing: one of them has lost it",
        PAIR_ANEW,
    ),
    "org.bluez.Error.AuthenticationRejected": (
        "the device refused to pair",
        f"{PAIR_ANEW}. Some keep one partner only: let it forget a phone first",
    ),
    "org.bluez.Error.AuthenticationCanceled": ("pairing was broken off", PAIR_ANEW),
    "org.bluez.Error.AuthenticationTimeout": (
        "pairing took too long: nobody answered in time",
        PAIR_ANEW,
    ),
    "org.bluez.Error.ConnectionAttemptFailed": ("the device did not answer", _NEARER),
    "org.bluez.Error.AlreadyExists": ("it is paired already", PAIR_ANEW),
    "org.bluez.Error.NotConnected": ("the link was lost", _NEARER),
    "org.bluez.Error.NotSupported": (
        "the device does not do this",
        "Check that the right driver is named for it: pitlogger devices scan",
    ),
    "org.bluez.Error.DoesNotExist": (
        "the Bluetooth service does not know it any more",
        "Check that it is on and near; it is looked for again",
    ),
}
# Parts of a text, since BlueZ gives most reasons as org.bluez.Error.Failed with one.
_TEXTS: dict[str, Words] = {
    "concurrent-connection-limit": _NO_SLOT,
    "connection-limit-exceeded": _NO_SLOT,
    "0x09": _NO_SLOT,
    "le-connection-abort-by-local": (
        "the link was given up while it was being made",
        (
            "Bring device and adapter nearer; let one program alone use the adapter; "
            "use 5 GHz Wi-Fi or a cable"
        ),
    ),
    "key-missing": _DBUS["org.bluez.Error.AuthenticationFailed"],
    "auth-failure": _DBUS["org.bluez.Error.AuthenticationFailed"],
    "le-connection-create-timeout": ("the device did not answer", _NEARER),
    "le-connection-terminated-by-remote": (
        "the device broke the link off",
        "It may be linked to a phone or another computer: end that link",
    ),
    "Not paired": _NOT_PAIRED,
    "' not found": (
        "there is no such Bluetooth adapter",
        "See which there are: pitlogger devices doctor",
    ),
    "Not connected": ("the link was lost", _NEARER),
    "Service Discovery has not been performed": ("the link was lost", _NEARER),
}
_OTHER_PROGRAM = "Check its manual; try it: pitlogger devices try"
_ATT: dict[int, Words] = {
    0x01: ("it does not know that attribute any more", "Take its battery out for a moment"),
    0x02: ("it does not let this be read", _OTHER_PROGRAM),
    0x03: ("it does not let this be written", _OTHER_PROGRAM),
    0x05: _NOT_PAIRED,
    0x06: ("it does not do this", _OTHER_PROGRAM),
    0x08: _NOT_PAIRED,
    0x0A: ("it does not know that attribute any more", "Take its battery out for a moment"),
    0x0C: _NOT_PAIRED,
    0x0D: ("it expects another number of bytes", _OTHER_PROGRAM),
    0x0E: ("it failed for a reason it does not tell", "Look at the probe, its plug, its cable"),
    0x0F: _NOT_PAIRED,
    0x11: ("it has no room for this just now", "Take its battery out for a moment"),
    0x13: ("it does not take this value", _OTHER_PROGRAM),
    0xFC: ("it rejected what was written", _OTHER_PROGRAM),
    0xFD: ("it lost what it was to send by itself", "Take its battery out for a moment"),
    0xFE: ("it is busy with the same request", "It is tried again"),
    0xFF: ("the value is beyond what it can tell", "Look at the probe, its plug, its cable"),
}
_ATT_IN_TEXT = re.compile(r"ATT error: 0x([0-9a-fA-F]{2})")
_REFUSALS = frozenset(
    f"org.bluez.Error.{name}"
    for name in ("NotPermitted", "NotAuthorized", "NotSupported", "InProgress", "InvalidArguments",
                 "InvalidOffset", "InvalidValueLength", "ImproperlyConfigured")
)  # fmt: skip
_NEEDS_BOND = frozenset((0x05, 0x08, 0x0C, 0x0F))


def trouble(what: str, error: BaseException) -> TransportError:
    """Return the error to show for a failure; ``what`` says what was being done."""
    reason, remedy = _explain(error)
    return TransportError(f"{what}: {reason}", remedy=remedy)


def is_busy(error: BaseException) -> bool:
    """Tell whether the service takes a call for a second one of a kind."""
    return isinstance(error, BleakDBusError) and error.dbus_error == "org.bluez.Error.InProgress"


def is_refusal(error: BaseException) -> bool:
    """Tell whether the device refused one attribute, and the link is as good as before."""
    if isinstance(error, BleakGATTProtocolError):
        return True
    if not isinstance(error, BleakDBusError):
        return False
    return error.dbus_error in _REFUSALS or _ATT_IN_TEXT.search(str(error)) is not None


def is_unreadable(error: BaseException) -> bool:
    """Tell whether reading will never work as things are, though values may come by themselves."""
    return isinstance(error, BleakGATTProtocolError) and int(error.code) in _NEEDS_BOND | {0x02}


def is_full(error: BaseException) -> bool:
    """Tell whether the adapter has no slot left for a further link."""
    return isinstance(error, BleakDBusError) and _explain(error) is _NO_SLOT


def _explain(error: BaseException) -> Words:
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _REASON.get(error.reason, (str(error), "See pitlogger devices doctor"))
    if isinstance(error, BleakGATTProtocolError):
        return _att(int(error.code))
    if isinstance(error, BleakDBusError):
        return dbus_words(error.dbus_error, str(error))
    if isinstance(error, TimeoutError):
        return ("no answer in time", _NEARER)
    if isinstance(error, OSError):
        return (
            f"the system's message bus cannot be reached ({error.strerror or error})",
            "Start it: sudo systemctl start dbus",
        )
    text = str(error)
    found = next((words for part, words in _TEXTS.items() if part in text), None)
    return found or (text or "the Bluetooth service broke off its answer", "It is tried again")


def dbus_words(name: str, text: str) -> Words:
    """Return what an error of the Bluetooth service means, and what to do."""
    code = _ATT_IN_TEXT.search(text)
    if code is not None:
        return _att(int(code[1], 16))
    found = next((words for part, words in _TEXTS.items() if part in text), None)
    return found or _DBUS.get(name, (text, "See pitlogger devices doctor"))


def _att(code: int) -> Words:
    if code in _ATT:
        return _ATT[code]
    if 0x80 <= code <= 0x9F:
        said = f"it reports an error of its own (0x{code:02x}), as for a probe that is not plugged"
        return (said, "Look at the probe, its plug, its cable; its manual may explain the number")
    return (f"it reports attribute error 0x{code:02x}", "It is tried again")
