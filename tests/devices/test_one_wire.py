"""A 1-Wire sensor changed for another: the silent channel names the new one and what to write."""

from __future__ import annotations

import asyncio
import shutil
from pathlib import Path

from pitlogger.devices.supervisor import Link
from pitlogger.model.readings import Quality
from pitlogger.testing import until
from tests.devices.bench import Bench

OLD, OTHER, NEW = "28-00000000000a", "28-00000000000b", "28-00000000000c"
TEXT = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=%d\n"


def plug(root: Path, sensor: str, milli_c: int = 21_500) -> None:
    """Let a sensor be on the bus, as the kernel shows it."""
    (root / sensor).mkdir()
    (root / sensor / "w1_slave").write_text(TEXT % milli_c, encoding="ascii")


def standing(bench: Bench) -> str:
    """Return what is said of the device now, with the remedy."""
    now = bench.supervisor.standing("d")
    return f"{now.message}. {now.remedy}"


async def test_a_swapped_sensor_is_named_with_what_to_write(tmp_path: Path) -> None:
    plug(tmp_path, OLD)
    plug(tmp_path, OTHER)
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=tmp_path, sensor=OLD, every_s=0.01)
        await bench.value("temperature", 21.5)
        shutil.rmtree(tmp_path / OLD)
        await until(lambda: bench.supervisor.standing("d").link is Link.LOST)
        assert OTHER not in standing(bench)
        assert "new on the bus" not in standing(bench)
        plug(tmp_path, NEW)
        await until(lambda: NEW in standing(bench))
        assert f"{NEW} is new on the bus" in standing(bench)
        assert f'sensor = "{NEW}"' in standing(bench)
        assert OTHER not in standing(bench)
        shutil.rmtree(tmp_path / NEW)
        plug(tmp_path, OLD)
        await until(lambda: bench.supervisor.standing("d").link is Link.UP)


async def test_one_swapped_while_all_was_off_is_named_after_the_start(tmp_path: Path) -> None:
    plug(tmp_path, OLD)
    plug(tmp_path, OTHER)
    memory: dict[str, object] = {}
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", memory, root=tmp_path, sensor=OLD, every_s=0.01)
        await bench.value("temperature", 21.5)
    shutil.rmtree(tmp_path / OLD)
    plug(tmp_path, NEW)
    for _ in range(2):  # it is told until the configuration names the new one
        bench = Bench()
        async with bench.supervisor:
            bench.start("w1", memory, root=tmp_path, sensor=OLD, every_s=0.01)
            await until(lambda bench=bench: NEW in standing(bench))  # type: ignore[misc]
            assert OTHER not in standing(bench)


async def test_a_sensor_never_met_lists_all_that_are_there(tmp_path: Path) -> None:
    plug(tmp_path, OTHER)
    plug(tmp_path, NEW)
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=tmp_path, sensor=OLD, every_s=0.01)
        await until(lambda: bench.supervisor.standing("d").link is Link.LOST)
        assert f"{OTHER} and {NEW} are on the bus" in standing(bench)
        assert "pitlogger devices try w1" in standing(bench)


async def test_a_sensor_that_stays_away_is_told_once(tmp_path: Path) -> None:
    plug(tmp_path, OTHER)
    bench = Bench()
    bench.supervisor._sleep = lambda _pause_s: asyncio.sleep(0)
    opened = 0

    def count(*_: object) -> float:
        nonlocal opened
        opened += 1
        return 0.0

    bench.supervisor._chance = count
    async with bench.supervisor:
        bench.start("w1", root=tmp_path, sensor=OLD, every_s=0.01)
        await until(lambda: opened >= 4)
        assert [link for link, _ in bench.said] == [Link.UP, Link.LOST]
        assert f'write sensor = "{OTHER}"' in standing(bench)
        plug(tmp_path, OLD)
        await bench.value("temperature", 21.5)
        assert bench.supervisor.standing("d").link is Link.UP


async def test_on_a_whole_bus_the_channel_that_went_names_the_new_one(tmp_path: Path) -> None:
    plug(tmp_path, OLD)
    plug(tmp_path, OTHER, 65_000)
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", root=tmp_path, every_s=0.01)
        await bench.value(f"temperature/{OLD}", 21.5)
        shutil.rmtree(tmp_path / OLD)
        await bench.value(f"temperature/{OLD}", None)
        gone = bench.latest.get(f"temperature/{OLD}")
        assert gone is not None
        assert gone.quality is Quality.OPEN
        assert f"1-Wire sensor {OLD} went from the bus" in standing(bench)
        plug(tmp_path, NEW, 30_000)
        await bench.value(f"temperature/{NEW}", 30.0)
        await until(lambda: NEW in standing(bench))
        assert f'name = "temperature/{NEW}"' in standing(bench)
        assert bench.supervisor.standing("d").link is Link.UP
        assert bench.latest.get(f"temperature/{OTHER}").value == 65.0  # type: ignore[union-attr]


async def test_a_whole_bus_knows_after_a_start_what_was_swapped_but_not_what_was_taken_off(
    tmp_path: Path,
) -> None:
    memory: dict[str, object] = {"sensors": [OLD, OTHER]}
    plug(tmp_path, OTHER)
    bench = Bench()
    async with bench.supervisor:
        bench.start("w1", memory, root=tmp_path, every_s=0.01)
        await bench.value(f"temperature/{OTHER}", 21.5)
        assert bench.latest.get(f"temperature/{OLD}") is None
        plug(tmp_path, NEW)
        await bench.value(f"temperature/{OLD}", None)
        assert NEW in standing(bench)
    assert memory["sensors"] == [OTHER, NEW]
