"""The readings of a cook, gone through once: what charts, gaps and verdicts need is kept of them.

A night of many probes has a million readings; held all at once they would be more than a small
board has to spare.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pitlogger.model.readings import Quality, Reading, Tagged
from pitlogger.store.rows import ChartLine

BUCKETS = 360
GAP_MS = 10 * 60_000
# Ends of a value that stands still lie at most so far apart: far below any policy's max_gap, and
# the most by which a limit may be found to be met too late.
STILL_MS = 10_000
Read = Reading | Tagged


@dataclass(slots=True)
class _Bucket:
    low: int
    high: int
    total: int
    readings: int


@dataclass(slots=True)
class Gathering:
    """Buckets and gaps of each channel, as the readings go by.

    Attributes:
        from_ms, to_ms: What the buckets span, engine time.
        last_ms: When the last reading was taken.
        gaps: Channel, from, to: longer than ten minutes without a good reading.
    """

    from_ms: int
    to_ms: int
    buckets: int = BUCKETS
    last_ms: int = 0
    gaps: list[tuple[str, int, int]] = field(default_factory=list)
    _held: dict[str, dict[int, _Bucket]] = field(default_factory=dict)
    _last_ms: dict[str, int] = field(default_factory=dict)

    def take(self, reading: Read) -> None:
        """Gather of a reading; in order of time."""
        self.last_ms = max(self.last_ms, reading.t_ms)
        if reading.value is not None and reading.quality is Quality.GOOD:
            self._take(reading.channel, reading.t_ms, reading.value)

    def _take(self, channel: str, t_ms: int, value: int) -> None:
        before_ms = self._last_ms.get(channel, t_ms)
        if t_ms - before_ms > GAP_MS:
            self.gaps.append((channel, before_ms, t_ms))
        self._last_ms[channel] = t_ms
        held = self._held.setdefault(channel, {})
        if not self.from_ms <= t_ms <= self.to_ms:
            return
        number = (t_ms - self.from_ms) // self._width_ms
        bucket = held.get(number)
        if bucket is None:
            held[number] = _Bucket(value, value, value, 1)
        else:
            bucket.low = min(bucket.low, value)
            bucket.high = max(bucket.high, value)
            bucket.total += value
            bucket.readings += 1

    @property
    def _width_ms(self) -> int:
        return max(1, -(-(self.to_ms + 1 - self.from_ms) // self.buckets))

    def lines(self) -> tuple[ChartLine, ...]:
        """Return lowest, highest and mean of equal buckets; empty ones are left out."""
        return tuple(self._line(channel, held) for channel, held in self._held.items())

    def _line(self, channel: str, held: dict[int, _Bucket]) -> ChartLine:
        order = sorted(held)
        return ChartLine(
            channel,
            [self.from_ms + number * self._width_ms for number in order],
            [held[number].low for number in order],
            [held[number].high for number in order],
            [round(held[number].total / held[number].readings) for number in order],
            [held[number].readings for number in order],
        )


def without_repeats(readings: Iterable[Read], still_ms: int = STILL_MS) -> Iterator[Read]:
    """Yield readings but for those inside a stretch in which their channel stood still.

    Verdicts join readings by straight lines, so the ends of such a stretch say all of it.
    """
    told: dict[str, Read] = {}
    held: dict[str, Read] = {}
    for reading in readings:
        last = told.get(reading.channel)
        if last is not None and _stands(last, reading) and reading.t_ms - last.t_ms < still_ms:
            held[reading.channel] = reading
            continue
        if reading.channel in held:
            yield held.pop(reading.channel)
        told[reading.channel] = reading
        yield reading
    yield from held.values()


def _stands(last: Read, reading: Read) -> bool:
    return (last.value, last.quality) == (reading.value, reading.quality)
