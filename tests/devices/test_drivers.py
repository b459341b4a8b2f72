"""Drivers from end to end: real transports, decoder, supervisor, measurements."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from pitlogger.devices.contract import Chunk, Measurement, Memory
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Link
from pitlogger.devices.trial import Trial
from pitlogger.errors import ConfigError, DecodeError
from pitlogger.model.readings import Quality
from pitlogger.testing import PseudoPort, until
from pitlogger_drivers.sma_scale.decode import REQUESTS
from pitlogger_drivers.weight_scale.driver import BURST_S, StoredResultsDecoder
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.bench import Bench
from tests.devices.peripherals import health_thermometer, probe_hub, weight_scale

ADDRESS = "02:00:00:00:00:10"
KEY = "231d39c1d7cc1ab1aee224cd096db932"  # example key of the BTHome v2 encryption page
ROOT = Path(__file__).parents[2]


async def subscribed(bluez: SimulatedBluez, characteristic: str) -> None:
    """Return when a client listens."""
    await until(lambda: bluez.world.subscribed(ADDRESS, characteristic))


# Bluetooth


async def test_a_weight_scale_gives_mass_and_battery(bluez: SimulatedBluez) -> None:
    bluez.world.add(weight_scale(ADDRESS, percent=71))
    bench = Bench()
    async with bench.supervisor:
        bench.start("weight-scale", address=ADDRESS)
        await subscribed(bluez, "2a9d")
        bluez.world.notify(ADDRESS, "2a9d", b"\x00\xc8\x00")
        await bench.value("mass", 1.0)
        await bench.value("battery", 71.0)


async def test_a_device_tried_by_hand_says_what_it_is(bluez: SimulatedBluez) -> None:
    scale = weight_scale(ADDRESS)
    said = Characteristic("2a29", ("read",), b"Workshop\0")
    clock = Characteristic("2a2b", ("read",), bytes.fromhex("ea070913020000060000"))
    scale.services += (GattService("180a", (said,)), GattService("1805", (clock,)))
    bluez.world.add(scale)
    driver = Registry().load("weight-scale")
    lines: list[str] = []
    config = configure(driver.info, {"address": ADDRESS}, "test")
    await Trial(Device("d", driver({}), config), lines.append).run(1.0)
    assert "maker: Workshop" in lines
    assert "its clock, which is not used: 2026-09-19 02:00:00" in lines


async def test_a_thermometer_gives_its_running_values(bluez: SimulatedBluez) -> None:
    bluez.world.add(health_thermometer(ADDRESS))
    bench = Bench()
    async with bench.supervisor:
        bench.start("health-thermometer", name="thermometer")
        await subscribed(bluez, "2a1e")
        bluez.world.notify(ADDRESS, "2a1e", bytes.fromhex("006c0100ff"))
        await bench.value("temperature", 36.4)


async def test_probes_of_one_device_are_channels_by_label(bluez: SimulatedBluez) -> None:
    bluez.world.add(probe_hub(ADDRESS, ("point", "flat", "pit")))
    bench = Bench()
    async with bench.supervisor:
        bench.start("environmental-sensing", address=ADDRESS)
        await subscribed(bluez, "2a6e#3")
        for ordinal, label in enumerate(("point", "flat", "pit"), start=1):
            data = (ordinal * 1000).to_bytes(2, "little")
            bluez.world.notify(ADDRESS, f"2a6e#{ordinal}", data)
            await bench.value(f"temperature/{label}", ordinal * 10.0)


async def test_a_dropped_device_is_told_and_back_by_itself(bluez: SimulatedBluez) -> None:
    bluez.world.add(weight_scale(ADDRESS))
    bench = Bench()
    async with bench.supervisor:
        bench.start("weight-scale", address=ADDRESS)
        await subscribed(bluez, "2a9d")
        bluez.world.drop(ADDRESS)
        await until(lambda: Link.LOST in [link for link, _ in bench.said])
        await subscribed(bluez, "2a9d")
        await until(lambda: bench.said[-1][0] is Link.UP)


async def test_bthome_readings_and_signal_come_by_advertisement(bluez: SimulatedBluez) -> None:
    plain = {"fcd2": bytes.fromhex("4002ca0903bf13")}
    bluez.world.add(Peripheral(ADDRESS, "sensor", rssi=-50, service_data=plain))
    bench = Bench()
    async with bench.supervisor:
        bench.start("bthome", address=ADDRESS)
        await bench.value("temperature", 25.06)
        await bench.value("humidity", 50.55)
        await until(lambda: bench.latest.get("signal") is not None)


def test_a_bthome_counter_outlives_the_process() -> None:
    # Example frame of the BTHome v2 encryption page, address 54:48:E6:8F:80:A5.
    frame = bytes.fromhex("41a47266c95f730011223378237214")
    driver = Registry().load("bthome")
    config = configure(driver.info, {"address": "54:48:E6:8F:80:A5", "key": KEY}, "test")
    memory: Memory = {}
    first = list(driver(memory).decoder(config).feed(Chunk("", frame)))
    again = list(driver(memory).decoder(config).feed(Chunk("", frame)))
    assert [type(outcome) for outcome in first] == [Measurement, Measurement]
    assert all(isinstance(outcome, DecodeError) for outcome in again)


class Times:
    """Monotonic and local time, turned by hand."""

    def __init__(self) -> None:
        self.monotonic_s = 100.0
        self.local = datetime(2026, 9, 19, 2, 0)  # noqa: DTZ001 - scales send local time
        self.decoder = StoredResultsDecoder(lambda: self.monotonic_s, lambda: self.local)

    def quality(self, data: str) -> Quality:
        """Return the quality of a frame that comes now."""
        (outcome,) = self.decoder.feed(Chunk("2a9d", bytes.fromhex(data)))
        assert isinstance(outcome, Measurement)
        return outcome.quality


PLAIN = "00c800"
AT_0159 = "02c800ea0709130 13b00".replace(" ", "")  # 2026-09-19 01:59:00
LAST_YEAR = "02c800e90709130 13b00".replace(" ", "")


def test_the_first_burst_after_a_connect_may_be_stored() -> None:
    times = Times()
    assert times.quality(PLAIN) is Quality.POSSIBLY_STORED
    times.monotonic_s += BURST_S * 0.9
    assert times.quality(PLAIN) is Quality.POSSIBLY_STORED


def test_what_comes_after_the_burst_is_fresh() -> None:
    times = Times()
    times.quality(PLAIN)
    times.monotonic_s += BURST_S * 1.1
    assert times.quality(PLAIN) is Quality.GOOD


def test_a_time_stamp_near_now_makes_a_result_fresh() -> None:
    assert Times().quality(AT_0159) is Quality.GOOD


def test_an_old_time_stamp_in_the_burst_does_not() -> None:
    assert Times().quality(LAST_YEAR) is Quality.POSSIBLY_STORED


# Serial


async def test_a_serial_scale_drops_the_tail_it_was_opened_in(port: PseudoPort) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("serial-scale", port=str(port.path))
        await until(lambda: bool(bench.said))
        port.write(b"5kg\r\nST,GS,+   4.218kg\r\n")
        await bench.value("mass", 4.218)
    assert len(bench.found) == 1


async def test_a_line_without_unit_takes_the_configured_one(port: PseudoPort) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("serial-scale", port=str(port.path), unit="g")
        await until(lambda: bool(bench.said))
        port.write(b"\r\n  612.5\r\n")
        await bench.value("mass", 612.5)
    assert bench.found[0].unit == "g"


async def test_a_line_without_any_unit_is_refused_in_words(port: PseudoPort) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("serial-scale", port=str(port.path))
        await until(lambda: bool(bench.said))
        port.write(b"\r\n  612.5\r\n")
        await until(lambda: bool(bench.supervisor.refused("d")))
        assert "without a unit" in bench.supervisor.refused("d")[0].reason
    assert not bench.found


async def test_a_replugged_scale_is_read_again(
    port: PseudoPort, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.devices.transports.paths.LOOK_S", 0.01)
    bench = Bench()
    async with bench.supervisor:
        bench.start("serial-scale", port=str(port.path))
        await until(lambda: bool(bench.said))
        port.unplug()
        await until(lambda: bench.said[-1][0] is Link.LOST)
        port.plug()
        await until(lambda: bench.said[-1][0] is Link.UP)
        port.write(b"\r\nST,GS,+   4.218kg\r\n")
        await bench.value("mass", 4.218)


async def answer(port: PseudoPort, table: dict[bytes, bytes], asked: list[bytes]) -> None:
    """Be an instrument that answers questions."""
    while True:
        data = port.read()
        asked.append(data)
        for question, reply in table.items():
            if question in data:
                port.write(reply)
        await asyncio.sleep(0.002)


async def answering(
    port: PseudoPort, table: dict[bytes, bytes], use: Callable[[list[bytes]], Any]
) -> None:
    """Run ``use`` beside an instrument that answers."""
    asked: list[bytes] = []
    task = asyncio.ensure_future(answer(port, table, asked))
    try:
        await use(asked)
    finally:
        task.cancel()
        await asyncio.wait({task})


async def test_an_sma_scale_is_asked_and_takes_a_tare(port: PseudoPort) -> None:
    bench = Bench()

    async def use(asked: list[bytes]) -> None:
        async with bench.supervisor:
            bench.start("sma-scale", port=str(port.path), ask_every_s=0.02)
            await bench.value("mass", 7.65)
            await bench.supervisor.command("d", "tare")
            await until(lambda: any(REQUESTS["tare"] in data for data in asked))

    await answering(port, {REQUESTS["weight"]: b"\n 1G       7.650kg \r"}, use)


async def test_a_scpi_thermometer_is_asked(port: PseudoPort) -> None:
    bench = Bench()

    async def use(_asked: list[bytes]) -> None:
        async with bench.supervisor:
            bench.start("scpi", port=str(port.path), every_s=0.02)
            await bench.value("temperature", 107.425)

    table = {b"*IDN?": b"MAKER,MODEL,0,1.0\n", b"MEAS:TEMP?": b"+1.07425000E+02\n"}
    await answering(port, table, use)


async def test_a_declared_serial_device_needs_no_code(port: PseudoPort, tmp_path: Path) -> None:
    file = tmp_path / "board.toml"
    file.write_text(
        'name = "board"\n[source]\nkind = "serial"\nline = "T=(?P<t>[0-9.]+)"\ninterval_s = 3\n'
        '[[value]]\nchannel = "pit"\ngroup = "t"\nunit = "Cel"\n',
        encoding="utf-8",
    )
    bench = Bench()
    async with bench.supervisor:
        bench.start("declared", file=str(file), port=str(port.path))
        await until(lambda: bool(bench.said))
        port.write(b"T=107.4\r\n")
        await bench.value("pit", 107.4)


async def test_a_declared_bluetooth_device_is_asked_as_declared(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    told, asked = Characteristic("fff1", ("notify",)), Characteristic("fff2", ("write",))
    bluez.world.add(Peripheral(ADDRESS, "tray", (GattService("fff0", (told, asked)),)))
    file = tmp_path / "tray.toml"
    file.write_text(
        'name = "tray"\n[source]\nkind = "gatt"\npoll = "a501"\ninterval_s = 0.2\n'
        'characteristic = "0000fff1-0000-1000-8000-00805f9b34fb"\n'
        'poll_characteristic = "0000fff2-0000-1000-8000-00805f9b34fb"\n'
        '[[value]]\nchannel = "core"\nat = 0\ntype = "i16"\nscale = 0.1\nunit = "Cel"\n',
        encoding="utf-8",
    )
    bench = Bench()
    async with bench.supervisor:
        bench.start("declared", file=str(file), address=ADDRESS)
        await until(lambda: asked.write == b"\xa5\x01")
        bluez.world.notify(ADDRESS, "fff1", b"\x32\x04")
        await bench.value("core", 107.4)


def test_a_declared_device_declares_its_interval() -> None:
    driver = Registry().load("declared")
    file = str(ROOT / "tests" / "recordings" / "declared" / "tray-probe.toml")
    config = configure(driver.info, {"file": file, "address": ADDRESS}, "test")
    assert Device("d", driver({}), config).interval_s == 2.0


def test_a_declared_device_without_a_place_is_refused() -> None:
    driver = Registry().load("declared")
    file = str(ROOT / "tests" / "recordings" / "declared" / "tray-probe.toml")
    with pytest.raises(ConfigError, match="needs its address, name or service"):
        configure(driver.info, {"file": file}, "test")


# Recordings


@pytest.mark.parametrize("file", ["serial_scale/capture.jsonl", "replay/capture.senml"])
async def test_recordings_and_captures_are_played_back(file: str) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("replay", file=str(ROOT / "tests" / "recordings" / file), speed=0)
        await until(lambda: len(bench.found) >= 2)


async def test_a_missing_recording_is_told() -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("replay", file="/no/such/file", speed=0)
        await until(lambda: bool(bench.said))
    assert "/no/such/file:1: cannot be read" in bench.said[0][1]
