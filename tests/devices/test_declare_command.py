"""``pitlogger devices declare``: a person, a reference and a device that nobody described."""

from __future__ import annotations

import asyncio
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.instruments.declare import declare
from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.declaring.conclude import conclude
from pitlogger.devices.declaring.moments import Moment
from pitlogger.devices.declaring.session import Seen, Session, UnknownDevice, read_reference
from pitlogger.devices.pointing.way import DeviceAccess
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.supervisor import Device, Supervisor
from pitlogger.errors import QuantityError, RefusedError, UsageError
from pitlogger.model.quantities import Quantity
from pitlogger.testing import PseudoPort, until
from pitlogger_simulators.bluetooth import Characteristic, GattService, Peripheral, SimulatedBluez

ADDRESS = "02:00:00:00:00:10"
HEAT_C = (2.0, 95.0, 21.0, 60.0)


class Person:
    """Moves the device to a value, waits for it, types what the reference shows."""

    def __init__(self, show: Any, seen: Seen, typed: list[tuple[float | None, str]]) -> None:
        self.show, self.seen, self.typed = show, seen, iter(typed)
        self.said: list[str] = []

    async def ask(self, _prompt: str) -> str | None:
        value, text = next(self.typed, (None, ""))
        if value is not None:
            before = len(self.seen.frames())
            while len(self.seen.frames()) < before + 3:
                self.show(value)
                await asyncio.sleep(0.01)
        return text


async def session_of(
    way: DeviceAccess, show: Any, typed: list[tuple[float | None, str]]
) -> tuple[Session, Seen]:
    """Run a session; return it and what was seen."""
    seen = Seen(sends_lines=way.sends_lines)
    person = Person(show, seen, typed)
    session = Session(seen, person.ask, person.said.append)
    async with asyncio.timeout(20):
        await session.run(UnknownDevice(seen, way.open))
    return session, seen


def heat() -> list[tuple[float | None, str]]:
    """What a person types in baths of several temperatures."""
    return [(value_c, f"{value_c:.1f}C") for value_c in HEAT_C]


async def test_an_unbranded_bluetooth_probe_is_declared_and_read(
    bluez: SimulatedBluez, tmp_path: Path
) -> None:
    count = 0
    told, other = Characteristic("fff1", ("notify",)), Characteristic("fff2", ("read",), b"\x17")
    bluez.world.add(Peripheral(ADDRESS, "tray", (GattService("fff0", (told, other)),)))

    def frame(value_c: float) -> bytes:
        nonlocal count
        count += 1
        return bytes((0xA5, count % 256)) + round(value_c * 10).to_bytes(2, "big") + b"\x00"

    def show(value_c: float) -> None:
        bluez.world.notify(ADDRESS, "fff1", frame(value_c))

    way = DeviceAccess(address=ADDRESS)
    session, seen = await session_of(way, show, heat())
    file = tmp_path / "tray.toml"
    concluded = conclude(session, seen, "tray", "", way.source)
    file.write_text(concluded.text, encoding="utf-8")
    assert concluded.moves["fff1 of 5 bytes"][:2] == ["still", "counts"]
    found: list[Measurement] = []
    async with Supervisor(lambda _d, one: found.append(one), lambda *_: None) as supervisor:
        driver = Registry().load("declared")
        own = configure(driver.info, {"file": str(file), "address": ADDRESS}, "test")
        supervisor.start(Device("d", driver({}), own))
        await until(lambda: bluez.world.subscribed(ADDRESS, "fff1"))
        show(107.4)
        await until(lambda: bool(found))
    assert (found[0].channel, found[0].value, found[0].unit) == ("probe", 107.4, "Cel")


async def test_an_advertised_value_is_found_with_its_company(bluez: SimulatedBluez) -> None:
    peripheral = Peripheral(ADDRESS, "beacon", manufacturer_data={0x0123: b"\x01\x00\x00"})
    bluez.world.add(peripheral)

    def show(value_c: float) -> None:
        peripheral.manufacturer_data = {0x0123: b"\x01" + round(value_c * 10).to_bytes(2, "little")}
        bluez.world.hear(peripheral)

    way = DeviceAccess(address=ADDRESS, advertised=True)
    session, seen = await session_of(way, show, heat())
    text = conclude(session, seen, "beacon", "", way.source).text
    assert tomllib.loads(text)["source"] == {
        "kind": "advertisement", "company": 0x0123, "interval_s": 1,
    }  # fmt: skip


async def test_a_board_that_prints_lines_is_declared(port: PseudoPort) -> None:
    way = DeviceAccess(port=str(port.path), baud=115200)
    session, seen = await session_of(
        way, lambda c: port.write(f"n,7,{c:.1f},x\r\n".encode()), heat()
    )
    text = conclude(session, seen, "board", "core", way.source).text
    document = tomllib.loads(text)
    assert document["source"]["baud"] == 115200
    assert document["value"][0] == {"channel": "core", "group": "f3", "unit": "Cel", "scale": 1}


async def test_a_second_probe_is_added_to_the_file(port: PseudoPort) -> None:
    way = DeviceAccess(port=str(port.path))
    session, seen = await session_of(
        way, lambda c: port.write(f"{c:.1f},{99 - c}\n".encode()), heat()
    )
    first = conclude(session, seen, "board", "core", way.source).text
    other: list[tuple[float | None, str]] = [(99 - c, f"{c:.1f}C") for c in HEAT_C]
    session, seen = await session_of(
        way, lambda c: port.write(f"{c:.1f},{99 - c}\n".encode()), other
    )
    both = conclude(session, seen, "board", "pit", way.source, before=first).text
    groups = {one["channel"]: one["group"] for one in tomllib.loads(both)["value"]}
    assert groups == {"core": "f1", "pit": "f2"}


async def test_a_value_of_another_characteristic_is_not_added(port: PseudoPort) -> None:
    way = DeviceAccess(port=str(port.path))
    session, seen = await session_of(way, lambda c: port.write(f"{c:.1f}\n".encode()), heat())
    before = 'name = "x"\n[source]\nkind = "gatt"\n'
    with pytest.raises(RefusedError, match="the file says kind = 'gatt'"):
        conclude(session, seen, "board", "pit", way.source, before=before)


# The session


def seen_of(*frames: bytes) -> Seen:
    """Return what a device sent."""
    times = iter(range(1000))
    seen = Seen(lambda: float(next(times)))
    for frame in frames:
        seen.take(Chunk("fff1", frame))
    return seen


async def nobody(_prompt: str) -> str | None:
    return None


def session(seen: Seen) -> tuple[Session, list[str]]:
    said: list[str] = []
    return Session(seen, nobody, said.append), said


def test_a_moment_without_anything_new_is_not_taken() -> None:
    watching, said = session(seen_of(b"\x01"))
    watching.take("20C")
    watching.take("21C")
    assert len(watching.moments) == 1
    assert "nothing came since" in said[-1]


def test_undo_takes_the_last_moment_back() -> None:
    watching, said = session(seen_of(b"\x01"))
    watching.take("20C")
    watching.take("undo")
    assert (watching.moments, said[-1]) == ([], "taken back: 20.0 Cel")


def test_a_mass_among_temperatures_is_refused() -> None:
    watching, said = session(seen_of(b"\x01", b"\x02"))
    watching.take("20C")
    watching.take("5kg")
    assert "this session is about temperature" in said[-1]


def test_a_moment_keeps_only_what_came_shortly_before() -> None:
    seen = seen_of(*(bytes((n,)) for n in range(20)))
    moment = seen.moment(1.0)
    assert moment is not None
    assert [chunk.data[0] for chunk in moment.chunks] == [16, 17, 18, 19]


def test_lines_of_other_lengths_do_not_bring_back_what_is_long_past() -> None:
    times = iter(range(1000))
    seen = Seen(lambda: float(next(times)), sends_lines=True)
    for line in (b"9.5", *[b"10.1"] * 10):
        seen.take(Chunk("", line))
    moment = seen.moment(10.1)
    assert moment is not None
    assert {chunk.data for chunk in moment.chunks} == {b"10.1"}


def test_the_last_word_of_long_ago_is_no_moment() -> None:
    seen = seen_of(b"\x07")
    for _ in range(50):
        seen._monotonic_s()
    assert seen.moment(1.0) is None


def test_a_device_that_speaks_seldom_gives_its_last_word() -> None:
    seen = seen_of(b"\x07")
    for _ in range(20):
        seen._monotonic_s()
    assert seen.moment(1.0) == Moment(1.0, (Chunk("fff1", b"\x07"),))


@pytest.mark.parametrize(
    ("text", "found"),
    [("203F", (Quantity.TEMPERATURE, 95.0)), ("13 lb 7 oz", (Quantity.MASS, 6095.147))],
)
def test_a_reference_is_a_temperature_or_a_mass(text: str, found: tuple[Quantity, float]) -> None:
    quantity, value = read_reference(text)
    assert (quantity, round(value, 3)) == found


def test_a_reference_without_a_unit_says_how_to_write_one() -> None:
    with pytest.raises(QuantityError, match=r"write 95C, 203F, 6\.1kg"):
        read_reference("95")


# The command


def run(*arguments: str, typed: str = "") -> Any:
    """Run the command; its errors pass through."""
    result = CliRunner().invoke(declare, list(arguments), input=typed)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "either --port or --address"),
        (("--address", ADDRESS, "--poll", "a5x"), "not hexadecimal"),
        (("--address", ADDRESS, "--poll", "a501"), "needs --poll-at"),
        (("--port", "/dev/x", "--advertised"), "never asked"),
        (("--port", "/dev/x", "--within", "0 g"), "more than nothing"),
        (("--port", "/dev/x", "--add"), "does not exist"),
    ],
)
def test_options_that_contradict_are_refused(
    tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    with pytest.raises(UsageError, match=message):
        run(*arguments, "--out", str(tmp_path / "x.toml"))


def test_a_file_is_never_overwritten(tmp_path: Path) -> None:
    out = tmp_path / "x.toml"
    out.touch()
    with pytest.raises(UsageError, match="exists already"):
        run("--port", "/dev/x", "--out", str(out))


def test_ending_without_moments_is_refused_and_writes_nothing(tmp_path: Path) -> None:
    out = tmp_path / "x.toml"
    with pytest.raises(RefusedError, match="at least 3 are needed"):
        run("--port", str(tmp_path / "none"), "--baud", "9600", "--out", str(out), typed="\n")
    assert not out.exists()
