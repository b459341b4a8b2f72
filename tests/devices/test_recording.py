"""Recordings: written by a wrapper, played back, refused with the line where broken."""

from __future__ import annotations

import asyncio
import io
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.polled import PolledTransport
from pitlogger.devices.transports.recording import (
    Header,
    Recorder,
    ReplayTransport,
    TimedChunk,
    read_recording,
)
from pitlogger.errors import CaptureError, TransportError

CHUNKS = (TimedChunk(0, Chunk("", b"\x00\xff")), TimedChunk(1500, Chunk("2a6e/point", b"\x01")))


async def first(stream: AsyncIterator[Chunk], count: int) -> list[Chunk]:
    """Return the next chunks."""
    async with asyncio.timeout(3):
        return [await anext(stream) for _ in range(count)]


async def test_what_is_recorded_is_read_back_byte_for_byte(tmp_path: Path) -> None:
    sink = io.StringIO()
    times_s = iter((10.0, 10.0, 11.5))
    header = Header("bthome", "sender", "2026-09-19T02:10:00Z", {"address": "x"}, "synthetic")
    recorder = Recorder(ReplayTransport(CHUNKS, speed=0), sink, header, lambda: next(times_s))
    async with recorder:
        await first(recorder.chunks(), 2)
    path = tmp_path / "capture.jsonl"
    path.write_text(sink.getvalue(), encoding="utf-8")
    assert read_recording(path) == (header, list(CHUNKS))


async def test_a_replay_keeps_the_pace_times_its_speed() -> None:
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    await first(ReplayTransport(CHUNKS, speed=100).chunks(), 2)
    assert loop.time() - began_s >= 0.015


@pytest.mark.parametrize(
    ("lines", "place"),
    [
        ("", ":1: is empty"),
        ("{}\n", ":1: expected a header"),
        ('{"recording": 1}\n', ":1: a header has driver"),
        ('{"recording": 1, "driver": "x"}\nnope\n', ":2: is not JSON"),
        ('{"recording": 1, "driver": "x"}\n\n{"t": 1}\n', ":3: expected"),
        ('{"recording": 1, "driver": "x"}\n{"t": 1, "x": "0"}\n', ":2: expected"),
        ('{"recording": 1, "driver": "x"}\n[]\n', ":2: expected a JSON object"),
    ],
)
def test_a_broken_recording_is_refused_with_its_line(
    tmp_path: Path, lines: str, place: str
) -> None:
    path = tmp_path / "capture.jsonl"
    path.write_text(lines, encoding="utf-8")
    with pytest.raises(CaptureError) as caught:
        read_recording(path)
    assert f"{path}{place}" in str(caught.value)


def polled(read: object, present: bool = True) -> PolledTransport:
    """A sensor that is read as fast as can be."""
    return PolledTransport(read, 0.0, present=lambda: present, what="the sensor")  # type: ignore[arg-type]


async def test_a_sensor_is_read_in_a_thread_again_and_again() -> None:
    answers = iter(([Chunk("", b"1")], [Chunk("", b"2")]))
    chunks = await first(polled(lambda: next(answers)).chunks(), 2)
    assert [chunk.data for chunk in chunks] == [b"1", b"2"]


async def test_a_read_that_fails_once_is_tried_again() -> None:
    answers = iter((OSError(5, "I/O error"), [Chunk("", b"2")]))

    def read() -> list[Chunk]:
        answer = next(answers)
        if isinstance(answer, OSError):
            raise answer
        return answer

    assert (await first(polled(read).chunks(), 1))[0].data == b"2"


@pytest.mark.parametrize("present", [True, False])
async def test_a_sensor_that_cannot_be_read_is_lost(present: bool) -> None:
    def read() -> list[Chunk]:
        raise OSError(19, "No such device", "/sys/sensor")

    with pytest.raises(TransportError, match="No such device: /sys/sensor"):
        await first(polled(read, present).chunks(), 1)
