"""Trying one device by hand: live readings in words, or its bytes into a file."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from pitlogger.clock import SystemClock, rfc3339
from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.runner import Device, Link, Refused
from pitlogger.devices.supervisor import Supervisor
from pitlogger.devices.tasks import end
from pitlogger.devices.transports.recording import Header, Recorder
from pitlogger.devices.warmth import Warmth
from pitlogger.errors import TransportError

Say = Callable[[str], None]

_SAMPLE = 24  # bytes shown of what cannot be read
_SECRET = frozenset(("key", "password"))


class Trial:
    """Runs one device for a while and says what it gives.

    Attributes:
        latest: Last reading of each channel.
        refused: The last bytes that were no reading.
        message: What was last said about a link that is lost; empty while it is up.
        remedy: What to do about that.
        facts: What the device says about itself: maker, model, its clock.
        bytes_heard: How many bytes came.
        last_heard: The last of them.
    """

    def __init__(self, device: Device, say: Say) -> None:
        self.device = device
        self.latest: dict[str, Measurement] = {}
        self.refused: tuple[Refused, ...] = ()
        self.message = self.remedy = ""
        self.facts: dict[str, str] = {}
        self.bytes_heard = 0
        self.last_heard = b""
        self.warmth = Warmth()
        self._say = say
        self._warmed: str | None = None
        self._up = asyncio.Event()

    @property
    def was_up(self) -> bool:
        """Whether the device was reached at all."""
        return self._up.is_set()

    async def run(self, seconds: float) -> None:
        """Run for so long."""
        async with Supervisor(self._emit, self._status) as supervisor:
            supervisor.start(self.device)
            supervisor.tap(self.device.id, self._hear)
            asking = asyncio.create_task(self._ask(supervisor), name="facts")
            await asyncio.sleep(seconds)
            await end(asking)
            self.refused = supervisor.refused(self.device.id)
        if self.refused:
            self._say(f"refused: {self.refused[-1].reason}")

    def _hear(self, chunk: Chunk) -> None:
        self.bytes_heard += len(chunk.data)
        self.last_heard = (self.last_heard + chunk.data)[-_SAMPLE:]

    async def _ask(self, supervisor: Supervisor) -> None:
        """Ask the device what it is once it is there."""
        await self._up.wait()
        self.facts = await supervisor.facts(self.device.id)
        for word, said in self.facts.items():
            self._say(f"{word}: {said}")

    def _emit(self, _device: str, found: Measurement) -> None:
        if self.latest.get(found.channel) != found:
            self._say(in_words(found))
        self.latest[found.channel] = found
        self.warmth.take(found)
        warmed = self.warmth.warmed()
        if warmed is not None and warmed != self._warmed:
            self._say(f"-> {warmed} is being warmed")
        self._warmed = warmed

    def _status(self, _device: str, link: Link, message: str, remedy: str) -> None:
        self.message, self.remedy = ("", "") if link is Link.UP else (message, remedy)
        if link is Link.UP:
            self._up.set()
        self._say(f"{link}: {message}" + (f". {remedy}" if self.remedy else ""))


_WRITTEN = {"Cel": "degC", "%EL": "%", "%RH": "%"}


def value_in_words(found: Measurement) -> str:
    """Return a value with its unit as people write it."""
    if found.value is None:
        return "no value"
    return f"{found.value:g} {_WRITTEN.get(found.unit, found.unit)}".rstrip()


def in_words(found: Measurement) -> str:
    """Return a reading as one line."""
    value = value_in_words(found)
    remarks = [str(found.quality)] if found.quality != "good" else []
    if found.stable is not None:
        remarks.append("stable" if found.stable else "moving")
    return f"{found.channel:<24} {value}" + (f"  ({', '.join(remarks)})" if remarks else "")


async def write_recording(
    device: Device, out: Path, given: Mapping[str, Any], notes: str, seconds: float
) -> int:
    """Write what a device sends in a while; return how many chunks came.

    Keys that are secret are left out: a recording is made to be shown.

    Raises:
        TransportError: The device cannot be opened, or was lost.
        OSError: The file cannot be written.
    """
    header = Header(
        driver=device.driver.info.name,
        device=device.id,
        started=rfc3339(SystemClock().utc_ms()),
        config={key: value for key, value in given.items() if key not in _SECRET},
        notes=notes,
    )
    chunks = 0
    try:
        with out.open("x", encoding="utf-8", buffering=1) as sink:  # kept however it ends
            recorder = Recorder(device.driver.transport(device.config), sink, header)
            async with recorder:
                with suppress(TimeoutError):
                    async with asyncio.timeout(seconds):
                        async for _chunk in recorder.chunks():
                            chunks += 1
    except TransportError:
        if not chunks:
            _take_away(out)
        raise
    return chunks


def _take_away(out: Path) -> None:
    """Remove a file that holds nothing and would be in the way of the next attempt."""
    out.unlink()
