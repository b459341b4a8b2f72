"""Recordings: what a device sent, byte for byte, with times; written and played back.

One JSON object a line, UTF-8. The first line is the header:

    {"recording": 1, "driver": "serial-scale", "device": "bench", "started": "2026-09-19T02:10:00Z",
     "config": {...}, "notes": "synthetic"}

each further one a chunk: ``t`` milliseconds since the start, ``s`` source where there are
several, ``x`` bytes in hexadecimal:

    {"t": 120, "x": "53542c47532c..."}

A source that could not be read has ``f``, the reason, in place of bytes.
"""

from __future__ import annotations

import asyncio
import json
import logging
import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Self, TextIO

from pitlogger.devices.contract import Chunk, Transport
from pitlogger.devices.transports.wrapping import WrappingTransport
from pitlogger.errors import CaptureError, TransportError
from pitlogger.formats.json_text import parse_json

log = logging.getLogger(__name__)

VERSION = 1
MOST_BYTES = 64 * 1024 * 1024  # a day of a scale at ten lines a second is 60 MB


@dataclass(frozen=True, slots=True)
class Header:
    """What was recorded: driver and its configuration, device id, start, remarks."""

    driver: str
    device: str = ""
    started: str = ""
    config: dict[str, Any] = field(default_factory=dict)
    notes: str = ""


@dataclass(frozen=True, slots=True)
class TimedChunk:
    """A chunk and when it came, milliseconds since the start of the recording."""

    t_ms: int
    chunk: Chunk


def write_header(sink: TextIO, header: Header) -> None:
    """Write the first line."""
    sink.write(json.dumps({"recording": VERSION} | asdict(header)) + "\n")


def write_chunk(sink: TextIO, timed: TimedChunk) -> int:
    """Write one chunk; return how many bytes it took."""
    source = {"s": timed.chunk.source} if timed.chunk.source else {}
    fault = timed.chunk.fault
    content = {"x": timed.chunk.data.hex()} if fault is None else {"f": str(fault)}
    line = {"t": timed.t_ms} | source | content
    return sink.write(json.dumps(line, separators=(",", ":")) + "\n")


def read_recording(path: Path) -> tuple[Header, list[TimedChunk]]:
    """Return a recording.

    Raises:
        CaptureError: The file cannot be read; the message starts with ``file:line``.
    """
    try:
        if (size := path.stat().st_size) > MOST_BYTES:
            raise CaptureError(
                f"{path}:1: {size / 1e6:.0f} MB, expected at most {MOST_BYTES / 1e6:.0f} MB"
            )
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CaptureError(f"{path}:1: cannot be read: {error}") from error
    if not lines:
        raise CaptureError(f"{path}:1: is empty; expected the header of a recording")
    header = _header(path, lines[0])
    return header, list(_chunks(path, lines[1:]))


def _header(path: Path, line: str) -> Header:
    given = _object(path, 1, line)
    if given.pop("recording", None) != VERSION:
        raise CaptureError(f'{path}:1: expected a header with "recording": {VERSION}')
    with suppress(TypeError):
        return Header(**given)
    raise CaptureError(f"{path}:1: a header has driver, device, started, config, notes")


def _chunks(path: Path, lines: Iterable[str]) -> Iterator[TimedChunk]:
    for number, line in enumerate(lines, start=2):
        if not line.strip():
            continue
        given = _object(path, number, line)
        try:
            fault = TransportError(given["f"]) if "f" in given else None
            data = b"" if fault else bytes.fromhex(given["x"])
            yield TimedChunk(int(given["t"]), Chunk(given.get("s", ""), data, fault))
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise CaptureError(
                f'{path}:{number}: expected {{"t": milliseconds, "x": "hexadecimal"}}: {error}'
            ) from error


def _object(path: Path, number: int, line: str) -> dict[str, Any]:
    try:
        given = parse_json(line)
    except ValueError as error:
        raise CaptureError(f"{path}:{number}: is not JSON: {error}") from error
    if not isinstance(given, dict):
        raise CaptureError(f"{path}:{number}: expected a JSON object")
    return given


class Recorder(WrappingTransport):
    """A transport that writes down all that comes through another one."""

    def __init__(
        self,
        inner: Transport,
        sink: TextIO,
        header: Header,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(inner)
        self._sink = sink
        self._header = header
        self._monotonic_s = monotonic_s

    async def __aenter__(self) -> Self:
        await super().__aenter__()
        write_header(self._sink, self._header)
        return self

    async def __aexit__(self, *exc: object) -> None:
        self._sink.flush()
        await super().__aexit__(*exc)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield what the other transport yields, until the file is as large as one may be."""
        began_s, written = self._monotonic_s(), 0
        async for chunk in self._inner.chunks():
            t_ms = round((self._monotonic_s() - began_s) * 1000)
            written += write_chunk(self._sink, TimedChunk(t_ms, chunk))
            yield chunk
            if written > MOST_BYTES:
                log.warning("the recording ends here: it has %.0f MB", written / 1e6)
                return


class ReplayTransport:
    """Play a recording at its own pace times ``speed``; 0 is as fast as it can."""

    def __init__(self, chunks: Iterable[TimedChunk], speed: float = 1.0) -> None:
        self._chunks = tuple(chunks)
        self._speed = speed

    async def __aenter__(self) -> ReplayTransport:
        return self

    async def __aexit__(self, *exc: object) -> None:
        return None

    async def send(self, data: bytes) -> None:
        """Refuse: what was recorded takes no commands."""
        raise TransportError(f"a recording takes no commands ({data.hex()})")

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield the recorded chunks, then wait, as a device does that has nothing to say."""
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        for timed in self._chunks:
            if self._speed > 0:
                due_s = began_s + timed.t_ms / 1000 / self._speed
                await asyncio.sleep(max(0.0, due_s - loop.time()))
            yield timed.chunk
        await asyncio.Event().wait()
