"""What bleak and BlueZ say, in words a person can act on.

Sources: BlueZ D-Bus API documents (names of errors); Bluetooth Core Specification, vol. 1
part F (controller errors), vol. 3 part F, 3.4.1.1 (attribute errors).
"""

from __future__ import annotations

import asyncio
import re
import tomllib
from importlib.resources import files
from typing import Any

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
_NEARER = "Bring device and adapter nearer, and check its battery"
_SHARED = {
    "{pair_anew}": PAIR_ANEW, "{pair}": PAIR, "{nearer}": _NEARER,
    "{other_program}": "Check its manual; try it: pitlogger devices try",
}  # fmt: skip
_KNOWN: dict[str, dict[str, Any]] = tomllib.loads(
    (files("pitlogger.devices") / "transports/ble/troubles.toml").read_text(encoding="utf-8")
)


def _full(said: list[str]) -> Words:
    wrong, remedy = said
    for name, text in _SHARED.items():
        remedy = remedy.replace(name, text)
    return wrong, remedy


_WORDS = {name: _full(said) for name, said in _KNOWN["words"].items()}


def _table(name: str) -> dict[str, Words]:
    return {
        key: _WORDS[said] if isinstance(said, str) else _full(said)
        for key, said in _KNOWN[name].items()
    }


BLOCKED, OFF, DENIED = _WORDS["blocked"], _WORDS["off"], _WORDS["denied"]
NO_SERVICE, _NO_SLOT = _WORDS["no-service"], _WORDS["no-slot"]
_DBUS, _TEXTS = _table("dbus"), _table("texts")
_ATT = {int(code, 16): words for code, words in _table("attributes").items()}
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
