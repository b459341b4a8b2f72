"""Finding the line settings of a serial device: the rates in customary order, until lines parse.

A sender of 7 bits with parity is seen at its rate though it is read as 8N1: bit 7 of each byte
is its parity. Nothing is written to the port, unless the device is one that has to be asked.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass

from pitlogger.devices.contract import Transport
from pitlogger.devices.tasks import end
from pitlogger.errors import TransportError

# Customary rates of scales and boards, the likeliest first (from memory).
RATES = (9600, 115200, 2400, 4800, 19200, 38400, 57600, 1200, 230400)
FRAMINGS = ("8N1", "8E1", "8O1")  # those that 7E1 and 7O1 cannot be seen through
LISTEN_S = 1.6  # ours: two lines of a device that sends one or more a second
ENOUGH = 1024  # bytes to judge by
_ENDS = b"\r\n\x03"

Open = Callable[[int, str], Transport]  # the way at a rate and framing
Judge = Callable[[bytes, int, str], int]  # how many lines can be read of what came


@dataclass(frozen=True, slots=True)
class Settings:
    """Line settings at which lines can be read, and a sample of them."""

    baud: int
    framing: str
    sample: str


@dataclass(frozen=True, slots=True)
class LineSearch:
    """What came of a search: settings, or whether anything was heard at all, with a sample."""

    found: Settings | None
    heard: bytes = b""


async def search(
    open_way: Open, judge: Judge, *, listen_s: float = LISTEN_S, first: int = RATES[0],
    say: Callable[[str], None] = lambda _line: None,
) -> LineSearch:  # fmt: skip
    """Try settings until two lines can be read.

    Raises:
        TransportError: The port cannot be opened.
    """
    heard = b""
    for framing in FRAMINGS:
        for baud in dict.fromkeys((first, *RATES)):
            data = await _listen(open_way(baud, framing), listen_s)
            heard = heard or data
            for seen in _readings(data, framing):
                if judge(seen.data, baud, seen.framing) >= 2:
                    return LineSearch(Settings(baud, seen.framing, _sample(seen.data)), heard)
        say(f"{framing}: no rate gives lines" if heard else "nothing came at any rate")
        if not heard:
            break
    return LineSearch(None, heard)


def in_words(result: LineSearch) -> str:
    """Return what came of a search."""
    if result.found is not None:
        found = result.found
        return f"it speaks at {found.baud} {found.framing}, as in '{found.sample}'"
    if not result.heard:
        return "nothing came at any rate"
    return f"bytes came ({result.heard[:16]!r}), and no customary rate makes lines of them"


def printable_lines(data: bytes, *_: object) -> int:
    """Return how many whole lines of printable text there are, none where any byte is noise."""
    text = bytes(byte for byte in data if byte not in b"\r\n\t\x02\x03")
    if not text or not text.isascii() or not text.decode("ascii").isprintable():
        return 0
    *lines, _tail = data.replace(b"\x03", b"\n").replace(b"\r", b"\n").split(b"\n")
    return sum(bool(line.strip()) for line in lines[1:])  # the first may be a tail


@dataclass(frozen=True, slots=True)
class _Seen:
    data: bytes
    framing: str


def _readings(data: bytes, framing: str) -> Iterator[_Seen]:
    """Yield what came as it is and, where bit 7 is a parity, without it."""
    yield _Seen(data, framing)
    parity = _parity_of(data)
    if framing == "8N1" and parity:
        yield _Seen(bytes(byte & 0x7F for byte in data), f"7{parity}1")


def _parity_of(data: bytes) -> str:
    """Return ``E`` or ``O`` where bit 7 of every byte makes its ones even or odd."""
    if data.isascii():
        return ""
    odd = Counter(byte.bit_count() & 1 for byte in data)
    if len(odd) != 1:
        return ""
    return "O" if odd[1] else "E"


async def _listen(way: Transport, seconds: float) -> bytes:
    """Return what comes in a while, or less once it is enough."""
    data = b""
    async with way:
        source = aiter(way.chunks())
        arriving = asyncio.ensure_future(anext(source))
        loop = asyncio.get_running_loop()
        until_s = loop.time() + seconds
        try:
            while (left_s := until_s - loop.time()) > 0 and len(data) < ENOUGH:
                await asyncio.wait({arriving}, timeout=left_s)
                if not arriving.done():
                    break
                with suppress(TransportError, StopAsyncIteration):
                    data += arriving.result().data
                    arriving = asyncio.ensure_future(anext(source))
                    continue
                break
        finally:
            await end(arriving)
    return data


def _sample(data: bytes) -> str:
    lines: Iterable[bytes] = data.replace(b"\r", b"\n").split(b"\n")
    whole = [line.strip().decode("ascii", "replace") for line in lines if line.strip()]
    return whole[len(whole) // 2][:60] if whole else ""
