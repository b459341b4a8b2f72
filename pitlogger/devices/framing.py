"""Two small classes that make a decoder of a pure function: one for frames, one for lines.

A frame arrives whole (a GATT value, an advertisement, a HID report, a file); a line arrives
in pieces. The function gets bytes and returns measurements or raises a ``DecodeError``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, runtime_checkable

from pitlogger.devices.contract import Chunk, Decoder, Measurement
from pitlogger.errors import DecodeError, MalformedError, ShortFrameError

Outcome = Measurement | DecodeError
Parse = Callable[[bytes], Sequence[Outcome]]  # raises DecodeError where nothing can be read

LINE_LIMIT = 256  # bytes; no line of a scale or a micro-controller is longer
_AGAIN = 1024
_SAMPLE = 16  # bytes shown of what cannot be read
_CR, _LF, _STX, _ETX = b"\r", b"\n", b"\x02", b"\x03"
_TERMINATOR = re.compile(rb"([\r\n\x02\x03])")


@runtime_checkable
class StreamDecoder(Decoder, Protocol):
    """A decoder that keeps partial input; ``finish`` says that no more will come."""

    def finish(self) -> Iterable[Measurement | DecodeError]:
        """Return an error for input that was never completed, and forget it."""


class FrameDecoder:
    """Decode chunks that are whole frames."""

    __slots__ = ("_parse",)

    def __init__(self, parse: Parse) -> None:
        self._parse = parse

    def feed(self, chunk: Chunk) -> Sequence[Outcome]:
        """Return the measurements of one frame, or its error."""
        try:
            return self._parse(chunk.data)
        except DecodeError as error:
            return (error,)


class LineDecoder:
    """Cut a stream at CR, LF, STX and ETX, in any mixture, and decode each line.

    Args:
        parse: Decodes one line without its terminator.
        midstream: The stream was opened while the device was sending: what comes before the
            first terminator is the tail of a line and is dropped.
        refuse_blank: A blank line is an error; else it is passed over.

    A line longer than ``LINE_LIMIT`` is refused, and again for every ``_AGAIN`` bytes more, so
    that a device which never ends one is noticed; they are dropped up to the next terminator. A
    pair such as CR LF, or ETX CR LF, ends one line, not two.
    """

    __slots__ = (
        "_dropped",
        "_dropping",
        "_ended_by",
        "_parse",
        "_pending",
        "_refuse_blank",
        "_start",
    )

    def __init__(
        self, parse: Parse, *, midstream: bool = False, refuse_blank: bool = False
    ) -> None:
        self._parse = parse
        self._refuse_blank = refuse_blank
        self._pending = b""
        self._dropping = midstream
        self._dropped = 0  # bytes since the last terminator that were dropped
        self._start = b""  # the first of them
        self._ended_by: set[bytes] = set()

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return what the bytes complete."""
        outcomes: list[Outcome] = []
        *pieces, rest = _TERMINATOR.split(self._pending + chunk.data)
        for line, terminator in zip(pieces[::2], pieces[1::2], strict=True):
            outcomes += self._end_line(line, terminator)
        if self._dropping or len(rest) > LINE_LIMIT:
            outcomes += self._drop(rest)
            self._dropping, rest = True, b""
        self._pending = rest
        return outcomes

    def _drop(self, data: bytes) -> list[Outcome]:
        """Drop bytes of a line, and refuse it for each limit it goes past."""
        before = _refusals(self._dropped)
        self._start = (self._start + data)[:_SAMPLE]
        self._dropped += len(data)
        return [_too_long(self._start)] * (_refusals(self._dropped) - before)

    def finish(self) -> list[Outcome]:
        """Return an error for a last line without a terminator, and forget it."""
        rest, self._pending = self._pending, b""
        if not rest:
            return []
        return [ShortFrameError(f"the line {rest!r} has no end: expected CR, LF or ETX after it")]

    def _end_line(self, line: bytes, terminator: bytes) -> Sequence[Outcome]:
        if self._dropping or len(line) > LINE_LIMIT:
            refused = self._drop(line)
            self._dropping, self._dropped, self._start = False, 0, b""
            self._ended_by = {terminator}
            return refused
        if not line.strip():
            return self._end_blank(line, terminator)
        self._ended_by = {terminator}
        try:
            return self._parse(line)
        except DecodeError as error:
            return (error,)

    def _end_blank(self, line: bytes, terminator: bytes) -> tuple[Outcome, ...]:
        belongs_to_last = not line and self._ended_by and terminator not in self._ended_by
        if belongs_to_last or terminator == _STX or not self._refuse_blank:
            self._ended_by.add(terminator)
            return ()
        self._ended_by = {terminator}
        return (MalformedError("a blank line: expected a number with its unit"),)


def _refusals(length: int) -> int:
    """Return how often a line of so many bytes is refused."""
    return 0 if length <= LINE_LIMIT else 1 + (length - LINE_LIMIT - 1) // _AGAIN


def _too_long(start: bytes) -> MalformedError:
    return MalformedError(
        f"no line end in {LINE_LIMIT} bytes ({start!r} ...): expected CR, LF or ETX; "
        "check the baud rate and that the right port is named",
        remedy="Set baud to the rate in its manual, and check the port",
    )
