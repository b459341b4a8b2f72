"""Watching a device whose layout is not known, while a person says what is true."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Awaitable, Callable
from typing import Any, ClassVar

from pitlogger.devices.contract import (
    ChannelInfo,
    Chunk,
    Decoder,
    DriverBase,
    DriverInfo,
    Transport,
)
from pitlogger.devices.framing import LineDecoder
from pitlogger.devices.pointing.evidence import Moment
from pitlogger.errors import QuantityError
from pitlogger.model.quantities import Quantity, parse_mass_mg, parse_temperature_mc

WINDOW_S = 4.0  # what came so shortly before the person typed belongs to the moment
SELDOM_S = 30.0  # of a device that speaks seldom, the last word so long ago does
_MOST = 8  # frames of one source and length, or lines, that a moment keeps
ID = "unknown"

Ask = Callable[[str], Awaitable[str | None]]  # a prompt; the answer, ``None`` at the end
Say = Callable[[str], None]


class Tape:
    """All that a device sent, with times, and what came since the last cut.

    Frames of one source that differ in length may be of different kinds; lines are not.
    """

    def __init__(
        self, monotonic_s: Callable[[], float] = time.monotonic, *, sends_lines: bool = False
    ) -> None:
        self._monotonic_s = monotonic_s
        self.sends_lines = sends_lines
        self.timed: list[tuple[float, Chunk]] = []
        self._since: list[Chunk] = []
        self._last_s: dict[str, float] = {}
        self._gap_s: dict[str, float] = {}
        self._taken_s = -1.0

    def take(self, chunk: Chunk) -> tuple[()]:
        """Keep a frame or line; gives no measurement."""
        now_s = self._monotonic_s()
        last_s = self._last_s.get(chunk.source, now_s)
        self._gap_s[chunk.source] = max(self._gap_s.get(chunk.source, 0.0), now_s - last_s)
        self._last_s[chunk.source] = now_s
        self._since.append(chunk)
        self.timed.append((now_s, chunk))
        return ()

    @property
    def count(self) -> int:
        """How many came since the last cut."""
        return len(self._since)

    def cut(self) -> tuple[Chunk, ...]:
        """Return what came since the last cut."""
        part, self._since = tuple(self._since), []
        return part

    def gap_s(self, source: str) -> float:
        """Return the longest pause of a source, seconds."""
        return self._gap_s.get(source, 0.0)

    def moment(self, reference: float) -> Moment | None:
        """Return a moment of now with what came last; ``None`` where nothing new came."""
        now_s = self._monotonic_s()
        chosen: list[Chunk] = []
        counts: Counter[tuple[str, int]] = Counter()
        for at_s, chunk in reversed(self.timed):
            if at_s <= self._taken_s:
                break
            key = (chunk.source, 0 if self.sends_lines else len(chunk.data))
            age_s = now_s - at_s
            is_last = not counts[key] and age_s <= SELDOM_S
            if is_last or (age_s <= WINDOW_S and counts[key] < _MOST):
                counts[key] += 1
                chosen.append(chunk)
        if not chosen:
            return None
        self._taken_s = now_s
        return Moment(reference, tuple(reversed(chosen)))


class _Keeping:
    """A decoder that only keeps frames."""

    def __init__(self, tape: Tape) -> None:
        self._tape = tape

    def feed(self, chunk: Chunk) -> tuple[()]:
        return self._tape.take(chunk)


class UnknownDevice(DriverBase):
    """The driver of a device that is only watched."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name=ID,
        summary="a device that is watched to be joined",
        transport="serial",
        channels=(ChannelInfo("*", Quantity.TEMPERATURE, "Cel"),),
        interval_s=60.0,
    )

    def __init__(self, tape: Tape, way: Callable[[], Transport]) -> None:
        super().__init__({})
        self._tape = tape
        self._way = way

    def decoder(self, config: Any) -> Decoder:
        """Return what keeps frames or lines."""
        if not self._tape.sends_lines:
            return _Keeping(self._tape)
        return LineDecoder(lambda line: self._tape.take(Chunk("", line)), midstream=True)

    def transport(self, config: Any) -> Transport:
        """Return the way to the device."""
        return self._way()


def read_reference(text: str) -> tuple[Quantity, float]:
    """Return what a person typed, in degC or g.

    Raises:
        QuantityError: Neither a temperature nor a mass.
    """
    try:
        return Quantity.TEMPERATURE, parse_temperature_mc(text) / 1000
    except QuantityError:
        pass
    try:
        return Quantity.MASS, parse_mass_mg(text) / 1000
    except QuantityError:
        raise QuantityError(
            f"'{text.strip()}' is neither a temperature nor a mass: write 95C, 203F, 6.1kg "
            "or 13 lb 7 oz"
        ) from None
