"""Pairing through the Bluetooth service: each way of it, each refusal in words."""

from __future__ import annotations

import asyncio

import pytest

from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.devices.transports.ble.pairing import pair
from pitlogger.devices.transports.ble.settings import DeviceSettings, GattSettings
from pitlogger.errors import TransportError
from pitlogger_simulators.bluetooth.faults import RadioFault, RadioFaultKind, RadioFaultPoint
from pitlogger_simulators.bluetooth.peripherals import (
    Characteristic,
    GattService,
    Pairing,
    PairingWay,
    Peripheral,
)
from pitlogger_simulators.bluetooth.service import SimulatedBluez

A = "02:00:00:00:00:10"
KEY = 12_345  # shown with its leading zero


class Someone:
    """A person who knows what the device shows."""

    def __init__(self, types: int | None = KEY, nods: bool = True) -> None:
        self.types = types
        self.nods = nods
        self.shown: list[int] = []

    async def passkey(self) -> int | None:
        return self.types

    def show(self, passkey: int) -> None:
        self.shown.append(passkey)

    async def same(self, passkey: int) -> bool:
        self.shown.append(passkey)
        return self.nods


class Nobody(Someone):
    """A person who has gone away."""

    async def passkey(self) -> int | None:
        await asyncio.Event().wait()
        return None


def probe(way: PairingWay) -> Peripheral:
    """A probe that answers bonded computers alone."""
    value = Characteristic("2a6e", ("read", "notify"), b"\x10\x27", needs_bond=True)
    device = Peripheral(A, "probe", (GattService("181a", (value,)),))
    device.pairing = Pairing(way, KEY)
    return device


async def paired(
    bluez: SimulatedBluez, way: PairingWay, person: Someone, **how: bool | float
) -> bool:
    """Pair, and return whether values come then."""
    bluez.world.add(probe(way))
    await pair(DeviceSettings(address=A), person, **how)  # type: ignore[arg-type]
    settings = GattSettings(address=A, needed=("2a6e",), find_s=2.0, poll_s=0.02, check_s=0.02)
    async with GattTransport(settings) as link, asyncio.timeout(2):
        chunk = await anext(link.chunks())
    return chunk.data == b"\x10\x27"


@pytest.mark.parametrize(
    "way", [PairingWay.JUST_WORKS, PairingWay.TYPED, PairingWay.SHOWN, PairingWay.COMPARED]
)
async def test_a_device_that_is_paired_gives_its_values(
    bluez: SimulatedBluez, way: PairingWay
) -> None:
    person = Someone()
    assert await paired(bluez, way, person)
    assert person.shown == ([KEY] if way in (PairingWay.SHOWN, PairingWay.COMPARED) else [])


@pytest.mark.parametrize(
    ("way", "person", "words"),
    [
        (PairingWay.TYPED, Someone(types=99), "do not agree on their pairing"),
        (PairingWay.TYPED, Someone(types=None), "pairing was broken off"),
        (PairingWay.COMPARED, Someone(nods=False), "the device refused to pair"),
        (PairingWay.REFUSED, Someone(), "let it forget a phone first"),
    ],
)
async def test_a_pairing_that_fails_says_why_and_what_to_do(
    bluez: SimulatedBluez, way: PairingWay, person: Someone, words: str
) -> None:
    with pytest.raises(TransportError, match=words) as caught:
        await paired(bluez, way, person)
    assert "pitlogger devices pair" in caught.value.remedy
    assert "org.bluez" not in str(caught.value)


async def test_somebody_who_went_away_is_not_waited_for_without_end(bluez: SimulatedBluez) -> None:
    with pytest.raises(TransportError, match=r"took longer than 0\.3 s"):
        await paired(bluez, PairingWay.TYPED, Nobody(), pair_s=0.3)


async def test_a_device_that_lost_its_pairing_is_paired_anew(bluez: SimulatedBluez) -> None:
    device = probe(PairingWay.JUST_WORKS)
    device.pairing.bonded = device.pairing.forgot = True
    bluez.world.add(device)
    settings = GattSettings(address=A, needed=("2a6e",), find_s=2.0, check_s=0.02)
    with pytest.raises(TransportError, match=r"one of them has lost it.*--anew"):
        await GattTransport(settings).__aenter__()
    found = await pair(DeviceSettings(address=A), Someone(), anew=True)
    assert not found.was_paired
    async with GattTransport(settings) as link, asyncio.timeout(2):
        assert (await anext(link.chunks())).data == b"\x10\x27"


async def test_a_device_paired_before_is_left_as_it_is(bluez: SimulatedBluez) -> None:
    device = probe(PairingWay.REFUSED)
    device.pairing.bonded = True
    bluez.world.add(device)
    assert (await pair(DeviceSettings(name="probe"), Someone())).was_paired


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("AuthenticationFailed", "do not agree on their pairing"),
        ("AuthenticationRejected", "refused to pair"),
        ("AuthenticationCanceled", "broken off"),
        ("AuthenticationTimeout", "nobody answered in time"),
        ("ConnectionAttemptFailed", "did not answer"),
        ("NotPermitted", "answers only to a computer it is paired with"),
        ("NotAuthorized", "answers only to a computer it is paired with"),
        ("NotReady", "the Bluetooth adapter is off"),
    ],
)
@pytest.mark.parametrize("step", [RadioFaultPoint.PAIR, RadioFaultPoint.CONNECT])
async def test_each_refusal_of_the_service_is_in_words(
    bluez: SimulatedBluez, step: RadioFaultPoint, name: str, words: str
) -> None:
    bluez.world.faults.add(
        RadioFault(step, RadioFaultKind.ERROR, A, f"org.bluez.Error.{name}", "", times=None)
    )
    with pytest.raises(TransportError, match=words) as caught:
        await paired(bluez, PairingWay.JUST_WORKS, Someone())
    assert caught.value.remedy
    assert "org.bluez" not in str(caught.value)
