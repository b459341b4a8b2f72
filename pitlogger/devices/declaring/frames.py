"""Which bytes of a frame move with the reference, and how they are to be read.

Every place, type and order is tried against the moments; the least costly that meets every
reference is proposed, with what the moments cannot tell as doubts. Frames of one source that
differ in length, or in their first byte, are separated and looked at by themselves.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple, get_args

from pitlogger.devices.contract import Chunk
from pitlogger.devices.declaring.moments import LEAST, Moment, check_enough, valued
from pitlogger.devices.declaring.scales import LinearScale, Points, best_scale
from pitlogger.devices.number_types import BYTES, Order, Type, raw_number
from pitlogger.model.quantities import Quantity

# What speaks against a type; ours: two bytes are customary, numbers have signs.
_TYPE_COST: dict[Type, float] = {
    "i16": 0.0, "u16": 0.2, "u8": 0.5, "i8": 0.7, "i32": 1.0, "u32": 1.1, "f32": 1.0,
    "i24": 1.5, "u24": 1.6, "bcd16": 1.5, "bcd24": 1.7, "bcd32": 1.7,
}  # fmt: skip
_BIG_COST = 0.1
_REACH = {Quantity.TEMPERATURE: 300.0, Quantity.MASS: 10_000.0}  # degC of a fire, g of a packer
_SHORT_REACH_COST = 1.0
_MOST_KINDS = 4  # first bytes that tell frames apart; more of them are a counter or a value
_RIVAL = 3.0  # cost up to which another place is worth naming


class FrameKind(NamedTuple):
    """Frames that look alike: their source, length, and first bytes where needed."""

    source: str
    length: int
    prefix: bytes

    def covers(self, chunk: Chunk) -> bool:
        """Tell whether a frame is of this kind."""
        return (
            chunk.source == self.source
            and len(chunk.data) == self.length
            and chunk.data.startswith(self.prefix)
        )


class Layout(NamedTuple):
    """Where a number stands in a frame and how it is read."""

    at: int
    type: Type
    order: Order

    @property
    def end(self) -> int:
        """Offset behind the last byte."""
        return self.at + BYTES[self.type]

    def read(self, frame: bytes) -> int | float | None:
        """Return the raw number, ``None`` where the bytes are none."""
        raw = raw_number(frame[self.at : self.end], self.type, self.order)
        return raw if raw is None or math.isfinite(raw) else None

    def overlaps(self, other: Layout) -> bool:
        """Tell whether two layouts share bytes."""
        return self.at < other.end and other.at < self.end

    def __str__(self) -> str:
        order = f" {self.order}" if BYTES[self.type] > 1 else ""
        return f"{self.type}{order} at byte {self.at}"


@dataclass(frozen=True, slots=True)
class Match:
    """A layout that meets every reference; ``cost`` orders matches, the least first."""

    kind: FrameKind
    layout: Layout
    scale: LinearScale
    cost: float


@dataclass(frozen=True, slots=True)
class FrameProposal:
    """What to declare of a device that sends frames.

    Attributes:
        sentinels: Raw numbers sent while the probe was pulled.
        doubts: What the moments could not tell, in words.
    """

    match: Match
    sentinels: tuple[int, ...]
    doubts: tuple[str, ...]
    moments: int


def propose(moments: Sequence[Moment], quantity: Quantity, within: float) -> FrameProposal | None:
    """Return the likeliest layout, or ``None`` where none meets the references.

    Args:
        within: How far a value may lie from its reference, degC or g.

    Raises:
        RefusedError: Too few moments, or references too close together.
    """
    check_enough(moments, quantity, within)
    found = matches(moments, quantity, within)
    if not found:
        return None
    best = found[0]
    frames = [
        chunk.data for moment in moments for chunk in moment.chunks if best.kind.covers(chunk)
    ]
    doubts = (*_doubts_of(best, found, frames), *_shared_start(best.kind, moments))
    return FrameProposal(best, _sentinels(best, moments), doubts, len(valued(moments)))


def matches(moments: Sequence[Moment], quantity: Quantity, within: float) -> list[Match]:
    """Return every layout that meets every reference, the least costly first."""
    found = [
        match
        for kind in kinds(moments)
        for layout in layouts(kind.length)
        if (match := _match(kind, layout, moments, quantity, within)) is not None
    ]
    return sorted(found, key=lambda match: (match.cost, match.layout.at))


def kinds(moments: Iterable[Moment]) -> list[FrameKind]:
    """Return the kinds of frames that came often enough to recognise one by."""
    seen: dict[tuple[str, int], list[set[bytes]]] = defaultdict(list)
    for _, moment in valued(list(moments)):
        firsts: dict[tuple[str, int], set[bytes]] = defaultdict(set)
        for chunk in moment.chunks:
            firsts[chunk.source, len(chunk.data)].add(chunk.data[:1])
        for key, found_bytes in firsts.items():
            seen[key].append(found_bytes)
    found = []
    for (source, length), by_moment in seen.items():
        if len(by_moment) < LEAST or not length:
            continue
        found.append(FrameKind(source, length, b""))
        every = set.union(*by_moment)
        if 1 < len(every) <= _MOST_KINDS:
            often = [first for first in every if sum(first in one for one in by_moment) >= LEAST]
            found += [FrameKind(source, length, first) for first in sorted(often)]
    return found


def layouts(length: int) -> Iterator[Layout]:
    """Yield every way to read a number in so many bytes."""
    for kind in get_args(Type):
        for at in range(length - BYTES[kind] + 1):
            for order in ("little", "big") if BYTES[kind] > 1 else ("little",):
                yield Layout(at, kind, order)


def _match(
    kind: FrameKind, layout: Layout, moments: Sequence[Moment], quantity: Quantity, within: float
) -> Match | None:
    if layout.at < len(kind.prefix):
        return None
    points = Points()
    for reference, moment in valued(moments):
        numbers = [layout.read(chunk.data) for chunk in moment.chunks if kind.covers(chunk)]
        if None in numbers:
            return None
        points.add([number for number in numbers if number is not None], reference)
    scale = best_scale(points, quantity, within)
    if scale is None:
        return None
    cost = scale.cost + _TYPE_COST[layout.type] + (_BIG_COST if layout.order == "big" else 0.0)
    if _highest(layout, scale) < _REACH[quantity]:
        cost += _SHORT_REACH_COST
    return Match(kind, layout, scale, cost + 0.1 * len(kind.prefix))


def _highest(layout: Layout, scale: LinearScale) -> float:
    """Return the highest value a layout can hold, base unit."""
    found_bytes = BYTES[layout.type]
    if layout.type == "f32":
        return math.inf
    if layout.type.startswith("bcd"):
        return scale.base(10 ** (2 * found_bytes) - 1)
    bits = 8 * found_bytes - layout.type.startswith("i")
    return scale.base(2**bits - 1)


def _sentinels(best: Match, moments: Sequence[Moment]) -> tuple[int, ...]:
    """Return the raw numbers sent while there was no value, and never beside a reference."""

    def numbers(chosen: Iterable[Moment]) -> set[int]:
        return {
            raw
            for moment in chosen
            for chunk in moment.chunks
            if best.kind.covers(chunk) and isinstance(raw := best.layout.read(chunk.data), int)
        }

    pulled = numbers(moment for moment in moments if moment.reference is None)
    found = pulled - numbers(moment for _, moment in valued(moments))
    return tuple(sorted(found)) if len(found) <= 2 else ()


# Doubts


def _doubts_of(best: Match, found: Sequence[Match], frames: Sequence[bytes]) -> Iterator[str]:
    if not best.scale.is_usual:
        yield (
            f"scale {best.scale.scale} and offset {best.scale.add} are no customary ones: "
            "they are a straight line through the references"
        )
    same = [m for m in found[1:] if m.kind == best.kind and m.layout.overlaps(best.layout)]
    alike = [m for m in same if _reads_alike(m, best, frames)]
    if alike:
        names = ", ".join(dict.fromkeys(str(match.layout) for match in alike[:3]))
        yield (
            f"{names} would read the same so far: add moments far above, and below zero "
            "or with an empty pan"
        )
    rivals = [
        m for m in found[1:]
        if m.cost <= best.cost + _RIVAL
        and not (m.kind.source == best.kind.source and m.layout.overlaps(best.layout))
    ]  # fmt: skip
    if rivals:
        names = ", ".join(dict.fromkeys(f"{m.layout}{_of_source(m, best)}" for m in rivals[:3]))
        yield f"{names} fits too: it may be a second probe in the same place, or chance"


def _of_source(match: Match, best: Match) -> str:
    return f" of {match.kind.source}" if match.kind.source != best.kind.source else ""


def _reads_alike(one: Match, other: Match, frames: Sequence[bytes]) -> bool:
    """Tell whether two matches gave the same raw numbers in all that was seen."""
    return all(one.layout.read(frame) == other.layout.read(frame) for frame in frames)


def _shared_start(kind: FrameKind, moments: Iterable[Moment]) -> Iterator[str]:
    """Say where frames of another kind would be read as this one."""
    others = {
        len(chunk.data)
        for moment in moments
        for chunk in moment.chunks
        if chunk.source == kind.source
        and len(chunk.data) > kind.length
        and chunk.data.startswith(kind.prefix)
    }
    if others:
        lengths = ", ".join(str(length) for length in sorted(others))
        yield f"frames of {lengths} bytes also come and would be read as these: give a prefix"


def ways_of_bytes(frames: Sequence[bytes]) -> list[str]:
    """Return how each byte of frames in order behaves: ``still``, ``counts`` or ``moves``."""
    length = min(len(frame) for frame in frames)
    found = []
    for at in range(length):
        values = [frame[at] for frame in frames]
        steps = {(b - a) % 256 for a, b in pairwise(values)}
        if len(set(values)) == 1:
            found.append("still")
        elif len(values) > 2 and steps <= {0, 1}:
            found.append("counts")
        else:
            found.append("moves")
    return found
