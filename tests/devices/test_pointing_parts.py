"""What pointing is made of: moments, true values, lines, bytes, intervals; refused options."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.instruments.devices import devices
from pitlogger.cli.instruments.point import _ask_person
from pitlogger.devices.contract import Chunk
from pitlogger.devices.pointing.block import usual_interval_s
from pitlogger.devices.pointing.evidence import Moment
from pitlogger.devices.pointing.finding import ways_of_bytes
from pitlogger.devices.pointing.places import shape_of, text_of
from pitlogger.devices.pointing.watching import Tape, read_reference
from pitlogger.devices.pointing.way import DeviceAccess
from pitlogger.errors import QuantityError, UsageError
from pitlogger.model.quantities import Quantity
from pitlogger_simulators.bluetooth.peripherals import Characteristic, GattService, Peripheral
from pitlogger_simulators.bluetooth.service import SimulatedBluez
from tests.devices.test_pointing_session import (
    A,
    Probes,
    expect,
    frame,
    pointed_at,
    read_back,
    sending,
)


def tape_of(*frames: bytes) -> Tape:
    """Return what a device sent, a frame a second."""
    times = iter(range(1000))
    tape = Tape(lambda: float(next(times)))
    for one in frames:
        tape.take(Chunk("fff1", one))
    return tape


def test_a_moment_without_anything_new_is_none() -> None:
    tape = tape_of(b"\x01")
    assert tape.moment(20.0) is not None
    assert tape.moment(21.0) is None


def test_a_moment_keeps_only_what_came_shortly_before() -> None:
    moment = tape_of(*(bytes((n,)) for n in range(20))).moment(1.0)
    assert moment is not None
    assert [chunk.data[0] for chunk in moment.chunks] == [16, 17, 18, 19]


def test_lines_of_other_lengths_do_not_bring_back_what_is_long_past() -> None:
    times = iter(range(1000))
    tape = Tape(lambda: float(next(times)), sends_lines=True)
    for line in (b"9.5", *[b"10.1"] * 10):
        tape.take(Chunk("", line))
    moment = tape.moment(10.1)
    assert moment is not None
    assert {chunk.data for chunk in moment.chunks} == {b"10.1"}


@pytest.mark.parametrize(("waited_s", "is_there"), [(20, True), (50, False)])
def test_the_last_word_of_a_device_that_speaks_seldom(waited_s: int, is_there: bool) -> None:
    tape = tape_of(b"\x07")
    for _ in range(waited_s):
        tape._monotonic_s()
    wanted = Moment(1.0, (Chunk("fff1", b"\x07"),)) if is_there else None
    assert tape.moment(1.0) == wanted


@pytest.mark.parametrize(
    ("text", "found"),
    [("203F", (Quantity.TEMPERATURE, 95.0)), ("13 lb 7 oz", (Quantity.MASS, 6095.147))],
)
def test_a_true_value_is_a_temperature_or_a_mass(text: str, found: tuple[Quantity, float]) -> None:
    quantity, value = read_reference(text)
    assert (quantity, round(value, 3)) == found


def test_a_true_value_without_a_unit_says_how_to_write_one() -> None:
    with pytest.raises(QuantityError, match=r"write 95C, 203F"):
        read_reference("95")


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("107.4", 0, 107.4),
        ("7,3,107.4,17", 2, 107.4),
        ("T1=107.4C T2=3C n=7", 0, 107.4),
        ("7;107,4;65,2", 1, 107.4),
        ("$7\t107.4\t3", 1, 107.4),
        ("PIT,ok,+  107.4C,3", 2, 107.4),
        ("T-5 x", 0, -5.0),
        ("7,---", 1, None),
    ],
)
def test_a_line_is_cut_into_fields_with_a_number_each(
    line: str, field: int, value: float | None
) -> None:
    shape = shape_of(line)
    assert shape.value(shape.cut(line)[field]) == value


def test_bytes_that_are_no_text_are_no_line() -> None:
    assert text_of(Chunk("", b"\xff\x80\xc3")) is None


def test_bytes_are_still_count_or_move() -> None:
    frames = [bytes((0xA5, count, value)) for count, value in ((254, 7), (255, 90), (0, 31))]
    assert ways_of_bytes(frames) == ["still", "counts", "moves"]


def test_the_interval_leaves_room_for_the_longest_pause() -> None:
    assert [usual_interval_s(gap_s) for gap_s in (0.1, 1.0, 4.0, 5000.0)] == [1, 2, 10, 7500]


async def test_a_device_that_speaks_only_when_asked(bluez: SimulatedBluez, tmp_path: Path) -> None:
    probes = Probes()
    told, taker = Characteristic("fff1", ("notify",)), Characteristic("fff2", ("write",))
    bluez.world.add(Peripheral(A, "tray", (GattService("fff0", (told, taker)),)))

    def send() -> None:
        if taker.writes:
            bluez.world.notify(A, "fff1", frame(probes))

    way = DeviceAccess(address=A, poll="a501", poll_at="fff2")
    async with sending(send):
        run = await pointed_at(way, probes)
        expect(await read_back(tmp_path, way, probes, run))


# The command


async def test_the_answer_after_the_last_question_is_not_taken_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    person, terminal = os.openpty()
    with os.fdopen(terminal, "r", encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        ask = _ask_person(None)
        os.write(person, b"0C\n")
        assert await asyncio.wait_for(ask("true? "), 5) == "0C\n"
        os.write(person, b"y\n")
        assert await asyncio.wait_for(asyncio.to_thread(stdin.readline), 5) == "y\n"
        os.write(person, b"\x04")
        assert await asyncio.wait_for(ask("more? "), 5) is None
    os.close(person)


def run(command: str, *arguments: str) -> Any:
    """Run the command; its errors pass through."""
    result = CliRunner().invoke(devices, [command, *arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.mark.parametrize("command", ["point", "declare"])
@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "give one of --port"),
        (("--address", A, "--poll", "a5x"), "not hexadecimal"),
        (("--address", A, "--poll", "a501"), "needs --poll-at"),
        (("--port", "/dev/x", "--advertised"), "nothing is written to"),
        (("--port", "/dev/x", "--framing", "9X9"), "no framing"),
        (("--address", A, "--site", "probe-1=oven"), "expected CHANNEL=SITE"),
    ],
)
def test_options_that_contradict_are_refused(
    command: str, arguments: tuple[str, ...], message: str
) -> None:
    with pytest.raises(UsageError, match=message):
        run(command, *arguments)
