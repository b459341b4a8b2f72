"""Supervision: back-off, silence, one device's trouble for itself; time is a hand's."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable
from dataclasses import replace
from typing import Any, ClassVar

import pytest

from pitlogger.devices.contract import (
    ChannelInfo,
    Chunk,
    DriverBase,
    DriverConfig,
    DriverInfo,
    Measurement,
)
from pitlogger.devices.runner import RING, UNREADABLE, RunnerLimits
from pitlogger.devices.supervisor import Device, Link, Supervisor
from pitlogger.errors import DecodeError, MalformedError, RefusedError, TransportError
from pitlogger.model.quantities import Quantity
from pitlogger.testing import ManualClock, ManualSleep, until

Script = Callable[[], AsyncIterator[Chunk]]


class ScriptedTransport:
    """Yields what a script says; counts how often it was opened and closed."""

    def __init__(self, driver: ScriptedDriver) -> None:
        self._driver = driver

    async def __aenter__(self) -> ScriptedTransport:
        self._driver.opened += 1
        if self._driver.opening is not None:
            await self._driver.opening()
        return self

    async def __aexit__(self, *exc: object) -> None:
        self._driver.closed += 1
        if self._driver.closing is not None:
            raise self._driver.closing

    def chunks(self) -> AsyncIterator[Chunk]:
        return self._driver.script()

    async def send(self, data: bytes) -> None:
        self._driver.sent.append(data)


class NumberDecoder:
    """Decodes decimal numbers; other bytes are refused."""

    def feed(self, chunk: Chunk) -> Iterable[Measurement | DecodeError]:
        if chunk.data == b"bug":
            raise ZeroDivisionError("a fault of the driver")
        if not chunk.data.isdigit():
            return [MalformedError(f"{chunk.data!r} is no number")]
        return [Measurement("mass", Quantity.MASS, float(chunk.data), "g")]


class ScriptedDriver(DriverBase):
    """A driver without a device."""

    info: ClassVar[DriverInfo] = DriverInfo(
        "scripted", "plays a script", "serial", (ChannelInfo("mass", Quantity.MASS, "g"),), 1.0
    )
    requests: ClassVar[dict[str, bytes]] = {"tare": b"T"}

    def __init__(self, script: Script) -> None:
        super().__init__({})
        self.script = script
        self.opening: Callable[[], Any] | None = None
        self.closing: Exception | None = None
        self.opened = self.closed = 0
        self.sent: list[bytes] = []

    def decoder(self, config: DriverConfig) -> NumberDecoder:
        return NumberDecoder()

    def transport(self, config: DriverConfig) -> ScriptedTransport:
        return ScriptedTransport(self)


def sends(*raw: bytes, then: Exception | None = None, stay: bool = False) -> Script:
    """A script: bytes, then an error, or nothing more, or the end."""

    async def script() -> AsyncIterator[Chunk]:
        for data in raw:
            yield Chunk("", data)
        if then is not None:
            raise then
        if stay:
            await asyncio.Event().wait()

    return script


class Rig:
    """A supervisor with a hand-turned clock, and all it says."""

    def __init__(self, **changes: Any) -> None:
        self.clock = ManualClock()
        self.sleep = ManualSleep(self.clock)
        self.values: list[tuple[str, float | None]] = []
        self.said: list[tuple[str, Link, str, str]] = []
        self.supervisor = Supervisor(
            lambda device, found: self.values.append((device, found.value)),
            lambda *facts: self.said.append(facts),
            clock=self.clock,
            sleep=changes.pop("sleep", self.sleep),
            chance=lambda: 1.0,
            **changes,
        )

    def start(self, driver: ScriptedDriver, device_id: str = "a", **config: Any) -> None:
        self.supervisor.start(Device(device_id, driver, DriverConfig(**config)))


async def test_measurements_reach_the_callback_with_the_device_id() -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(b"12", b"13", stay=True)))
        await until(lambda: len(node.values) == 2)
    assert node.values == [("a", 12.0), ("a", 13.0)]


@pytest.mark.parametrize(
    ("transport", "pauses_s"),
    [
        ("ble-gatt", [0.5, 1, 2, 4, 8, 16, 32, 60, 60]),
        ("serial", [0.5, 1, 2, 4, 6, 6]),
    ],
)
async def test_pauses_double_up_to_a_minute_on_the_air_and_to_seconds_on_wires(
    transport: str, pauses_s: list[float]
) -> None:
    node = Rig()
    driver = ScriptedDriver(sends(then=TransportError("gone")))
    driver.info = replace(driver.info, transport=transport)  # type: ignore[misc]
    async with node.supervisor:
        node.start(driver)
        await until(lambda: len(node.sleep.pauses_s) >= len(pauses_s))
    assert node.sleep.pauses_s[: len(pauses_s)] == pauses_s


async def test_a_failure_that_stays_the_same_is_told_once() -> None:
    node = Rig()
    driver = ScriptedDriver(sends())
    driver.opening = _no_port
    async with node.supervisor:
        node.start(driver)
        await until(lambda: len(node.sleep.pauses_s) >= 5)
    assert [(link, message) for _, link, message, _ in node.said] == [(Link.LOST, "no port")]


async def _no_port() -> None:
    raise TransportError("no port")


async def test_an_open_port_where_nobody_speaks_is_not_called_up_again() -> None:
    node = Rig()
    driver = ScriptedDriver(sends(stay=True))
    async with node.supervisor:
        node.start(driver, silence_s=0.01)
        await until(lambda: driver.opened >= 4)
        assert [link for _, link, _, _ in node.said] == [Link.UP, Link.LOST]
        driver.script = sends(b"1", stay=True)
        await until(lambda: len(node.said) >= 3)
    assert node.said[2][1:3] == (Link.UP, "it speaks")


async def test_chance_spreads_pauses_over_their_upper_half() -> None:
    node = Rig()
    node.supervisor._chance = lambda: 0.0
    async with node.supervisor:
        node.start(ScriptedDriver(sends(then=TransportError("gone"))))
        await until(lambda: len(node.sleep.pauses_s) >= 2)
    assert node.sleep.pauses_s[:2] == [0.25, 0.5]


async def test_a_stable_minute_lets_pauses_begin_afresh() -> None:
    node = Rig()

    async def script() -> AsyncIterator[Chunk]:
        node.clock.advance(61_000)
        yield Chunk("", b"1")
        raise TransportError("gone")

    async with node.supervisor:
        node.start(ScriptedDriver(script))
        await until(lambda: len(node.sleep.pauses_s) >= 3)
    assert node.sleep.pauses_s[:3] == [0.5, 0.5, 0.5]


async def test_a_loss_is_told_with_its_remedy() -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(then=TransportError("gone", remedy="Plug it in"))))
        await until(lambda: len(node.said) >= 2)
    assert node.said[:2] == [
        ("a", Link.UP, "connected", ""),
        ("a", Link.LOST, "gone", "Plug it in"),
    ]


async def test_a_silent_device_is_started_anew() -> None:
    node = Rig()
    driver = ScriptedDriver(sends(b"1", stay=True))
    async with node.supervisor:
        node.start(driver, silence_s=0.02)
        await until(lambda: driver.opened >= 3)
    assert driver.closed == driver.opened
    assert any("nothing came for 0.02 s" in message for _, _, message, _ in node.said)


async def test_a_driver_that_does_not_open_is_given_up() -> None:
    node = Rig(limits=RunnerLimits(open_s=0.02))
    driver = ScriptedDriver(sends())
    driver.opening = asyncio.Event().wait
    async with node.supervisor:
        node.start(driver)
        await until(lambda: bool(node.said))
    assert "did not open" in node.said[0][2]


@pytest.mark.parametrize("trouble", [b"bug", b"broken"])
async def test_one_devices_trouble_never_touches_another(trouble: bytes) -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(trouble, then=TransportError("gone"))), "ill")
        node.start(ScriptedDriver(sends(b"1", stay=True)), "well")
        await until(lambda: ("well", 1.0) in node.values)
        await until(lambda: len(node.sleep.pauses_s) >= 5)
    assert [said for said in node.said if said[0] == "well"] == [("well", Link.UP, "connected", "")]


async def test_a_close_that_fails_does_not_end_the_device() -> None:
    node = Rig()
    driver = ScriptedDriver(sends(b"1", then=TransportError("gone")))
    driver.closing = OSError("no such device")
    async with node.supervisor:
        node.start(driver)
        await until(lambda: len(node.values) >= 2)


async def test_refused_bytes_are_kept_with_the_reason_and_bounded() -> None:
    node = Rig()
    async with node.supervisor:
        raw = [f"x{number}".encode() for number in range(RING + 5)]
        node.start(ScriptedDriver(sends(*raw, b"1", stay=True)))
        await until(lambda: bool(node.values))
        kept = node.supervisor.refused("a")
    assert len(kept) == RING
    assert kept[-1].chunk.data == raw[-1]
    assert "is no number" in kept[-1].reason


async def test_a_device_that_sends_only_noise_counts_as_lost_and_says_why() -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(*[b"noise"] * UNREADABLE, b"1", stay=True)))
        await until(lambda: bool(node.values))
    assert [link for _, link, _, _ in node.said] == [Link.UP, Link.LOST, Link.UP]
    assert "b'noise' is no number" in node.said[1][2]


async def _swallowing() -> AsyncIterator[Chunk]:
    """Answer a cancellation with a chunk, as ``asyncio.wait_for`` of Python 3.11 may."""
    yield Chunk("", b"1")
    try:
        await asyncio.Event().wait()
    except asyncio.CancelledError:
        yield Chunk("", b"2")
    await asyncio.Event().wait()


async def test_a_transport_that_swallows_the_cancellation_is_stopped_all_the_same() -> None:
    node = Rig()
    async with asyncio.timeout(5):
        async with node.supervisor:
            node.start(ScriptedDriver(_swallowing))
            await until(lambda: bool(node.values))
            await node.supervisor.stop("a")
    assert node.values == [("a", 1.0), ("a", 2.0)]


async def test_a_command_reaches_the_device() -> None:
    node = Rig()
    driver = ScriptedDriver(sends(b"1", stay=True))
    async with node.supervisor:
        node.start(driver)
        await until(lambda: bool(node.values))
        await node.supervisor.command("a", "tare")
    assert driver.sent == [b"T"]


async def test_an_unknown_command_names_those_known() -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(stay=True)))
        with pytest.raises(RefusedError, match="did you mean 'tare'"):
            await node.supervisor.command("a", "tear")


async def test_an_unknown_device_names_those_known() -> None:
    with pytest.raises(RefusedError, match="unknown device 'b'"):
        Rig().supervisor.refused("b")


async def test_a_second_device_of_one_id_is_refused() -> None:
    node = Rig()
    async with node.supervisor:
        node.start(ScriptedDriver(sends(stay=True)))
        with pytest.raises(RefusedError, match="runs already"):
            node.start(ScriptedDriver(sends(stay=True)))


async def test_a_tap_sees_every_chunk_until_it_is_taken_off() -> None:
    node = Rig()
    seen: list[Chunk] = []
    async with node.supervisor:
        node.start(ScriptedDriver(sends(b"1", b"x", stay=True)))
        end = node.supervisor.tap("a", seen.append)
        await until(lambda: len(seen) == 2)
        end()
    assert [chunk.data for chunk in seen] == [b"1", b"x"]


async def test_a_device_that_comes_back_is_not_kept_waiting() -> None:
    back = asyncio.Event()

    class Returning(ScriptedTransport):
        async def appears(self) -> None:
            await back.wait()

    driver = ScriptedDriver(sends(then=TransportError("gone")))
    driver.transport = lambda config: Returning(driver)  # type: ignore[method-assign]
    pauses_s: list[float] = []

    async def sleep(pause_s: float) -> None:
        pauses_s.append(pause_s)
        if pause_s > 0.1:
            await asyncio.Event().wait()

    node = Rig(sleep=sleep)
    async with node.supervisor:
        node.start(driver)
        await until(lambda: pauses_s == [0.5])
        back.set()
        await until(lambda: driver.opened >= 2)


async def test_a_stopped_device_is_closed() -> None:
    node = Rig()
    driver = ScriptedDriver(sends(b"1", stay=True))
    async with node.supervisor:
        node.start(driver)
        await until(lambda: bool(node.values))
        await node.supervisor.stop("a")
        assert driver.closed == 1
        assert node.supervisor.links() == {}
