"""Which places and scales meet all that was seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pitlogger.devices.number_types import BYTES
from pitlogger.devices.pointing.evidence import Evidence, FrameGroup, kinds
from pitlogger.devices.pointing.places import Field, Place, columns, fields
from pitlogger.devices.pointing.scales import LinearScale, usual_scales
from pitlogger.model.quantities import Quantity

# Ours, in degC or g: how much warming or loading shows at least, how far a value may fall back
# meanwhile, how much it may move while nobody touches it.
_RISE = {Quantity.TEMPERATURE: 1.0, Quantity.MASS: 50.0}
_FALL = {Quantity.TEMPERATURE: 1.5, Quantity.MASS: 30.0}
_REST = {Quantity.TEMPERATURE: 3.0, Quantity.MASS: 30.0}
_ROOM = {Quantity.TEMPERATURE: (-30.0, 60.0), Quantity.MASS: (-500.0, 30_000.0)}
REACH = {Quantity.TEMPERATURE: (-20.0, 300.0), Quantity.MASS: (0.0, 10_000.0)}
_SHORT_REACH_COST = 1.5
_BESIDE_COST, _WITHIN_COST = 3.0, 1.5
# What means "no value" in four bytes, and that narrower numbers beside each other hardly hold at
# once; not ffffffff, which fills whatever stands there. From memory. The cost rules them out.
_EMPTY = frozenset(bytes.fromhex(one) for one in ("7fffffff", "ffffff7f", "80000000", "00000080"))
_PART_COST = 5.0
_COARSE_COST = 2.5


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place with a scale that meets all evidence; ``cost`` orders them, the least first."""

    kind: FrameGroup
    place: Place
    scale: LinearScale
    cost: float

    def value(self, frame: bytes) -> float | None:
        """Return the value of a frame in the base unit, degC or g."""
        raw = self.place.read(frame)
        return None if raw is None else self.scale.base(raw)

    def frame(self, frame: bytes, value: float) -> bytes | None:
        """Return a frame that holds another value, as this candidate would write it."""
        return self.place.write(frame, self.scale.raw(value))


def candidates(evidence: Evidence) -> list[Candidate]:
    """Return all that meets the evidence, the least costly first."""
    found = [
        candidate
        for kind in kinds(evidence)
        for place in _places(evidence, kind)
        for candidate in _at(evidence, kind, place)
    ]
    return sorted(_without_doubles(found, evidence.quantity), key=lambda one: one.cost)


def _places(evidence: Evidence, kind: FrameGroup) -> Iterable[Place]:
    if kind.is_line:
        return columns([data for _, data in evidence.frames(kind)])
    return fields(kind.length, len(kind.prefix))


def _at(evidence: Evidence, kind: FrameGroup, place: Place) -> Iterator[Candidate]:
    series: dict[str, list[float]] = {}
    for part, data in evidence.frames(kind):
        raw = place.read(data)
        if raw is None:
            if kind.is_line:
                continue
            return
        series.setdefault(part, []).append(raw)
    if len(series) < 2 + len(evidence.moments):
        return
    warmed, rest = series["warmed"], series["rest"]
    if max(warmed) == min(warmed):
        return
    # Of each moment the lowest and the highest: what merely passes by the reference is no match.
    points = [
        (raw, moment.reference)
        for number, moment in enumerate(evidence.moments)
        for raw in {min(series[str(number)]), max(series[str(number)])}
    ]
    for scale in usual_scales(points, evidence.quantity, evidence.within):
        if _behaves(evidence, scale, rest, warmed):
            cost = scale.cost + place.cost + 0.1 * len(kind.prefix)
            cost += _short(place, scale, evidence.quantity) + _unplugged(evidence, kind, place)
            cost += _coarse(evidence, kind, place)
            yield Candidate(kind, place, scale, cost)


def _behaves(
    evidence: Evidence, scale: LinearScale, rest: list[float], warmed: list[float]
) -> bool:
    """Tell whether values stay while nobody touches the device, and rise while it is warmed."""
    quantity = evidence.quantity
    still = [scale.base(raw) for raw in rest]
    rising = [scale.base(raw) for raw in warmed]
    low, high = _ROOM[quantity]
    if not all(low <= value <= high for value in still):
        return False
    if max(still) - min(still) > _REST[quantity]:
        return False
    top, fall = rising[0], 0.0
    for value in rising:
        top = max(top, value)
        fall = max(fall, top - value)
    return max(rising) - rising[0] >= _RISE[quantity] and fall <= _FALL[quantity]


def _unplugged(evidence: Evidence, kind: FrameGroup, place: Place) -> float:
    """Return what speaks against a place by the bytes that changed when its probe was unplugged.

    They are those of its field: one beside it that changed too belongs to it, one within that
    stayed rather does not, and a byte of ones is no minus one. A part of what means "no value" in
    four bytes is no number of its own.
    """
    pulled = [chunk.data for chunk in evidence.pulled if kind.covers(chunk)]
    rest = [chunk.data for chunk in evidence.rest if kind.covers(chunk)]
    if not isinstance(place, Field) or len(pulled) < 2 or not rest:
        return 0.0
    held = [{frame[at] for frame in rest} for at in range(kind.length)]
    last = pulled[-1]
    changed = {
        at
        for at in range(kind.length)
        if len({frame[at] for frame in pulled[len(pulled) // 2 :]}) == 1
        and last[at] not in held[at]
    }
    own = set(range(place.at, place.end))
    if not changed & own:
        return 0.0
    beside = {place.at - 1, place.end} & changed
    cost = _BESIDE_COST * len(beside) + _WITHIN_COST * len(own - changed)
    is_minus_one = place.type == "i8" and last[place.at] == 0xFF
    is_part = any(
        last[start : start + 4] in _EMPTY and set(range(start, start + 4)) - own <= changed
        for start in range(max(place.end - 4, 0), min(place.at, kind.length - 4) + 1)
        if place.end - place.at < 4
    )
    return cost + (_WITHIN_COST if is_minus_one else 0.0) + (_PART_COST if is_part else 0.0)


def _coarse(evidence: Evidence, kind: FrameGroup, place: Place) -> float:
    """Return what speaks against a number whose lowest byte never moved while others did."""
    if not isinstance(place, Field) or BYTES[place.type] == 1 or place.type == "f32":
        return 0.0
    lowest = place.at if place.order == "little" else place.end - 1
    return _COARSE_COST if len({data[lowest] for _, data in evidence.frames(kind)}) == 1 else 0.0


def _short(place: Place, scale: LinearScale, quantity: Quantity) -> float:
    """Return what speaks against a place that cannot hold what a cook needs."""
    if not isinstance(place, Field):
        return 0.0
    _, high = REACH[quantity]
    raw = scale.raw(high)
    return 0.0 if place.write(bytes(place.end), raw) is not None else _SHORT_REACH_COST


def _without_doubles(found: list[Candidate], quantity: Quantity) -> Iterator[Candidate]:
    """Leave out unsigned readings of two bytes and more where the signed one fits as well.

    A device that never sends less than nothing reads the same either way, unless it sends more
    than the signed number holds. And leave out a kind
    recognised by a prefix where the whole kind fits: it holds the same frames and more.
    """
    signed = {
        (c.kind, c.place.at, BYTES[c.place.type], c.place.order, c.scale[:3])
        for c in found
        if isinstance(c.place, Field)
        and c.place.type.startswith("i")
        and not _short(c.place, c.scale, quantity)
    }
    whole = {
        (c.kind.source, c.kind.length, c.place, c.scale[:3]) for c in found if not c.kind.prefix
    }
    for one in found:
        place = one.place
        if isinstance(place, Field) and place.type in ("u16", "u24", "u32"):
            key = (one.kind, place.at, BYTES[place.type], place.order, one.scale[:3])
            if key in signed:
                continue
        if one.kind.prefix and (one.kind.source, one.kind.length, place, one.scale[:3]) in whole:
            continue
        yield one
