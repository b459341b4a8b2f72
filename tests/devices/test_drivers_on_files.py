"""Kernel sensors, on temporary files."""

from __future__ import annotations

from pathlib import Path

from pitlogger.devices.supervisor import Link
from pitlogger.model.readings import Quality
from pitlogger.testing import until
from tests.devices.bench import Bench


def w1_text(milli_c: int) -> str:
    """What the kernel shows of a sensor."""
    data = "91 01 4b 46 7f ff 0c 10 70"
    return f"{data} : crc=70 YES\n{data} t={milli_c}\n"


async def test_1_wire_sensors_are_channels_by_rom_id(tmp_path: Path) -> None:
    for number, milli_c in (("a", 25062), ("b", 65125)):
        folder = tmp_path / f"28-00000000000{number}"
        folder.mkdir()
        (folder / "w1_slave").write_text(w1_text(milli_c), encoding="ascii")
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=str(tmp_path), every_s=0.01)
        await bench.value("temperature/28-00000000000a", 25.062)
        await bench.value("temperature/28-00000000000b", 65.125)


async def test_a_removed_1_wire_sensor_is_lost_with_a_remedy(tmp_path: Path) -> None:
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=str(tmp_path), sensor="28-00000000000a", every_s=0.01)
        await until(lambda: bench.said[-1:] != [] and bench.said[-1][0] is Link.LOST)
    assert "1-Wire sensor 28-00000000000a cannot be read" in bench.said[-1][1]


def amplifier(root: Path, number: int, name: str, **files: str) -> Path:
    """Let a thermocouple amplifier be there."""
    folder = root / f"iio:device{number}"
    folder.mkdir()
    for file, text in ({"name": name} | files).items():
        (folder / file).write_text(f"{text}\n", encoding="ascii")
    return folder


async def test_a_thermocouple_is_found_by_name_and_its_fault_counts(tmp_path: Path) -> None:
    amplifier(tmp_path, 0, "other", in_temp_raw="1", in_temp_scale="1")
    folder = amplifier(
        tmp_path, 1, "amplifier", in_temp_raw="430", in_temp_scale="250", fault_oc="0",
        in_temp_thermocouple_type="K",
    )  # fmt: skip
    bench = Bench()
    async with bench.supervisor:
        bench.start("iio", root=str(tmp_path), name="amplifier", every_s=0.01)
        await bench.value("temperature", 107.5)
        (folder / "fault_oc").write_text("1\n", encoding="ascii")
        await bench.value("temperature", None)
    assert bench.latest["temperature"].quality is Quality.OPEN


async def test_a_monitoring_chip_is_found_by_name(tmp_path: Path) -> None:
    folder = tmp_path / "hwmon4"
    folder.mkdir()
    for file, text in (("name", "chip"), ("temp1_input", "107500"), ("temp1_fault", "0")):
        (folder / file).write_text(f"{text}\n", encoding="ascii")
    bench = Bench()
    async with bench.supervisor:
        bench.start("hwmon", root=str(tmp_path), name="chip", every_s=0.01)
        await bench.value("temperature", 107.5)
