"""Pairing with a device that answers only to a computer it knows.

An agent of ours is put in charge for as long as it takes: the Bluetooth service asks it for a
passkey, or gives it one to show. Bond and keys are then the service's, and outlive us.

Source: BlueZ D-Bus API documents, org.bluez.Agent, AgentManager and Device.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Protocol

from dbus_fast import BusType, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from pitlogger.devices.transports.ble.radio import Radio
from pitlogger.devices.transports.ble.settings import DeviceSettings
from pitlogger.devices.transports.ble.troubles import PAIR_ANEW, dbus_words, trouble
from pitlogger.errors import TransportError

_SERVICE = "org.bluez"
_DEVICE = "org.bluez.Device1"
_MANAGER = "org.bluez.AgentManager1"
_AGENT = "org.bluez.Agent1"
_PROPERTIES = "org.freedesktop.DBus.Properties"
_PATH = "/pitlogger/agent"
_CALL_S = 10.0
PAIR_S = 90.0  # ours: a person has to walk to the device and type


class PairingPerson(Protocol):
    """Who sits before the computer while it pairs."""

    async def passkey(self) -> int | None:
        """Return the six digits that the device shows; ``None`` to break off."""

    def show(self, passkey: int) -> None:
        """Show the six digits to be typed on the device."""

    async def same(self, passkey: int) -> bool:
        """Return whether the device shows the same six digits."""


@dataclass(frozen=True, slots=True)
class Paired:
    """A device that is paired: its address, and whether it was so before."""

    address: str
    name: str
    was_paired: bool


class BrokenOffError(Exception):
    """Our answer to the service where the person breaks off."""


class Agent:
    """Answers the Bluetooth service for a person."""

    def __init__(self, person: PairingPerson) -> None:
        self._person = person
        self._asked: asyncio.Task[None] | None = None
        self._bus: MessageBus | None = None
        self._answers: dict[str, Callable[..., Awaitable[tuple[str, list[Any]]]]] = {
            "RequestPasskey": self._passkey,
            "RequestPinCode": self._pin,
            "DisplayPasskey": self._show,
            "DisplayPinCode": self._show_pin,
            "RequestConfirmation": self._confirm,
            "RequestAuthorization": self._nothing,
            "AuthorizeService": self._nothing,
            "Cancel": self._cancel,
            "Release": self._nothing,
        }

    def serve(self, bus: MessageBus) -> None:
        """Answer on a bus from now on."""
        self._bus = bus
        bus.add_message_handler(self._on_message)

    async def close(self) -> None:
        """Stop asking."""
        await self._cancel()

    def _on_message(self, message: Message) -> bool:
        is_ours = message.message_type is MessageType.METHOD_CALL and message.path == _PATH
        if not is_ours or message.interface != _AGENT:
            return False
        answering = self._answer(message)
        task = asyncio.get_running_loop().create_task(answering, name="pairing agent")
        if message.member != "Cancel":
            self._asked = task
        return True

    async def _answer(self, message: Message) -> None:
        assert self._bus is not None
        answer = self._answers.get(message.member or "")
        try:
            if answer is None:
                raise BrokenOffError
            signature, body = await answer(*message.body)
        except BrokenOffError:
            error = "org.bluez.Error.Canceled"
            await self._bus.send(Message.new_error(message, error, "broken off"))
            return
        await self._bus.send(Message.new_method_return(message, signature, body))

    async def _passkey(self, _device: str) -> tuple[str, list[Any]]:
        passkey = await self._person.passkey()
        if passkey is None:
            raise BrokenOffError
        return "u", [passkey]

    async def _pin(self, device: str) -> tuple[str, list[Any]]:
        _, (passkey,) = await self._passkey(device)
        return "s", [f"{passkey:06d}"]

    async def _show(self, _device: str, passkey: int, _typed: int) -> tuple[str, list[Any]]:
        self._person.show(passkey)
        return "", []

    async def _show_pin(self, _device: str, pin: str) -> tuple[str, list[Any]]:
        self._person.show(int(pin) if pin.isdecimal() else 0)
        return "", []

    async def _confirm(self, _device: str, passkey: int) -> tuple[str, list[Any]]:
        if not await self._person.same(passkey):
            raise BrokenOffError
        return "", []

    async def _nothing(self, *_: Any) -> tuple[str, list[Any]]:
        return "", []

    async def _cancel(self, *_: Any) -> tuple[str, list[Any]]:
        if self._asked is not None and not self._asked.done():
            self._asked.cancel()
            await asyncio.wait({self._asked})
        return "", []


async def pair(
    settings: DeviceSettings, person: PairingPerson, *, anew: bool = False, find_s: float = 20.0,
    pair_s: float = PAIR_S,
) -> Paired:  # fmt: skip
    """Pair with a device in reach, so that it answers this computer from now on.

    Args:
        anew: Forget a bond there is first, as where the device lost its own.

    Raises:
        TransportError: It was not found, or pairing failed; the remedy says what to do.
    """
    async with await Radio.chosen(settings.adapter, settings.what) as radio:
        device = await radio.find(settings.matches, find_s, settings.what)
        bus = MessageBus(bus_type=BusType.SYSTEM)
        agent = Agent(person)
        try:
            await bus.connect()
            agent.serve(bus)
            path = device.details["path"]
            was_paired = bool(await _property(bus, path, "Paired"))
            if was_paired and anew:
                await _call(bus, path.rpartition("/")[0], "org.bluez.Adapter1", "RemoveDevice",
                            "o", [path])  # fmt: skip
                device = await radio.find(settings.matches, find_s, settings.what)
                path = device.details["path"]
            if not was_paired or anew:
                await _pair(bus, path, settings.what, pair_s)
            await _call(
                bus, path, _PROPERTIES, "Set", "ssv", [_DEVICE, "Trusted", Variant("b", True)]
            )
            address = str(await _property(bus, path, "Address") or device.address)
        except (OSError, EOFError) as error:
            raise trouble(f"pairing with {settings.what}", error) from error
        finally:
            await agent.close()
            bus.disconnect()
    return Paired(address, device.name or "", was_paired and not anew)


async def _pair(bus: MessageBus, path: str, what: str, pair_s: float) -> None:
    await _call(bus, "/org/bluez", _MANAGER, "RegisterAgent", "os", [_PATH, "KeyboardDisplay"])
    await _call(bus, "/org/bluez", _MANAGER, "RequestDefaultAgent", "o", [_PATH])
    try:
        await _call(bus, path, _DEVICE, "Pair", "", [], f"pairing with {what}", pair_s)
    except TimeoutError:
        with suppress(TransportError, TimeoutError):
            await _call(bus, path, _DEVICE, "CancelPairing", "", [])
        raise TransportError(
            f"pairing with {what} took longer than {pair_s:g} s", remedy=PAIR_ANEW
        ) from None
    finally:
        with suppress(TransportError, TimeoutError, EOFError):
            await _call(bus, "/org/bluez", _MANAGER, "UnregisterAgent", "o", [_PATH])


async def _property(bus: MessageBus, path: str, name: str) -> Any:
    reply = await _call(bus, path, _PROPERTIES, "Get", "ss", [_DEVICE, name])
    return reply[0].value if reply else None


async def _call(
    bus: MessageBus, path: str, interface: str, member: str, signature: str, body: list[Any],
    doing: str = "pairing", patience_s: float = _CALL_S,
) -> list[Any]:  # fmt: skip
    """Return the body of the service's answer.

    Raises:
        TransportError: The service refused.
        TimeoutError: It did not answer.
    """
    message = Message(
        destination=_SERVICE, path=path, interface=interface, member=member,
        signature=signature, body=body,
    )  # fmt: skip
    async with asyncio.timeout(patience_s):
        reply = await bus.call(message)
    assert reply is not None
    if reply.message_type is MessageType.ERROR:
        text = " ".join(str(part) for part in reply.body)
        reason, remedy = dbus_words(reply.error_name or "", text)
        raise TransportError(f"{doing}: {reason}", remedy=remedy)
    return list(reply.body)
