"""What the evidence shows: the field, its neighbours, what means no probe; and the doubts."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pitlogger.devices.contract import Chunk
from pitlogger.devices.number_types import BYTES
from pitlogger.devices.pointing.candidates import REACH, Candidate, candidates
from pitlogger.devices.pointing.evidence import Evidence
from pitlogger.devices.pointing.places import Field, LineField
from pitlogger.model.quantities import Quantity

MARGIN = 5.0  # cost: what lies further behind the best has less than a hundredth of its weight
SURE = 0.95
_AGREE = {Quantity.TEMPERATURE: 1.0, Quantity.MASS: 20.0}
_STEPS = 65  # values tried between the ends of the reach
_NEAR = {Quantity.TEMPERATURE: 8.0, Quantity.MASS: 50.0}  # of the first, untouched
_LOST = 10.0  # degC or g that a value jumps at least when its probe is unplugged; ours
_MOST_PROBES = 16


@dataclass(frozen=True, slots=True)
class FoundProbe:
    """One probe of the device; ``is_sure`` where chance is no likely reason that it fits."""

    candidate: Candidate
    is_sure: bool = True


@dataclass(frozen=True, slots=True)
class Finding:
    """What came of it.

    Attributes:
        probes: The one that was warmed first, then its neighbours.
        sentinels: Raw numbers that mean "no probe".
        confidence: 0 to 1: weight of all readings that agree with this one wherever they can.
        doubts: In words with numbers; none where ``is_sure``.
        notes: What other bytes seem to be.
        needs_exact_length: Frames of other lengths begin alike.
    """

    probes: tuple[FoundProbe, ...]
    sentinels: tuple[int | str, ...]
    confidence: float
    doubts: tuple[str, ...]
    notes: tuple[str, ...] = ()
    needs_exact_length: bool = False
    rivals: int = field(default=0)

    @property
    def best(self) -> Candidate:
        """The field that was warmed."""
        return self.probes[0].candidate

    @property
    def is_sure(self) -> bool:
        """Whether nothing that was seen speaks for another reading."""
        return self.confidence >= SURE and not self.doubts


def find(evidence: Evidence) -> Finding | None:
    """Return what the evidence shows; ``None`` where nothing meets it.

    Raises:
        RefusedError: Too few true values, or too close together.
    """
    evidence.check()
    found = candidates(evidence)
    if not found:
        return None
    best = found[0]
    rivals = [one for one in found[1:] if one.cost <= best.cost + MARGIN]
    frames = [data for _, data in evidence.frames(best.kind)]
    doubts: list[str] = []
    against = 0.0
    for rival in rivals:
        wrong = _misread(best, rival, frames[-1], evidence)
        if wrong is not None:
            against += math.exp(best.cost - rival.cost)
            if len(doubts) < 3:
                doubts.append(f"{_in_words(rival)} fits as well; they differ {wrong}")
    weight = sum(math.exp(best.cost - rival.cost) for rival in rivals) + 1.0
    probes = tuple(_probes(best, evidence, frames))
    sentinels = _sentinels(probes, evidence)
    doubts += _of_probes(probes, evidence, sentinels)
    return Finding(
        probes,
        sentinels,
        1.0 - against / weight,
        tuple(doubts),
        tuple(_notes(best, probes, evidence)),
        _shares_start(best, evidence),
        len(rivals),
    )


def _misread(best: Candidate, rival: Candidate, frame: bytes, evidence: Evidence) -> str | None:
    """Return where the best would misread a device that is as the rival says; ``None`` nowhere.

    Other kinds of frames cannot be compared: two fields of one probe, or chance.
    """
    if isinstance(best.place, LineField) or isinstance(rival.place, LineField):
        same = best.place == rival.place
        return "in unit or step everywhere" if same else "everywhere: it may be another field"
    if best.kind.source != rival.kind.source or best.kind.length != rival.kind.length:
        return f"everywhere: it stands in frames of {rival.kind.length} bytes"
    low, high = REACH[evidence.quantity]
    agree = _AGREE[evidence.quantity]
    wrong: list[float] = []
    for step in range(_STEPS):
        value = low + (high - low) * step / (_STEPS - 1)
        sent = rival.frame(frame, value)
        if sent is None:
            continue
        read, meant = best.value(sent), rival.value(sent)
        if read is None or meant is None or abs(read - meant) > agree:
            wrong.append(value)
    if not wrong:
        return None
    unit = "degC" if evidence.quantity is Quantity.TEMPERATURE else "g"
    return f"from {min(wrong):.0f} to {max(wrong):.0f} {unit}, which did not come"


# Neighbours


def _probes(best: Candidate, evidence: Evidence, frames: Sequence[bytes]) -> Iterator[FoundProbe]:
    yield FoundProbe(best)
    if isinstance(best.place, LineField):
        yield from _columns_beside(best, evidence)
        return
    place = best.place
    assert isinstance(place, Field)
    offsets = _offsets(best, place, evidence)
    for offset in offsets:
        is_sure = BYTES[place.type] > 1
        yield FoundProbe(Candidate(best.kind, place.moved(offset), best.scale, best.cost), is_sure)


def _offsets(best: Candidate, place: Field, evidence: Evidence) -> list[int]:
    """Return the offsets of fields at one regular distance that read like an untouched probe."""
    size = BYTES[place.type]
    rest = [c.data for c in evidence.rest if best.kind.covers(c)]
    pulled = [c.data for c in evidence.pulled if best.kind.covers(c)]
    chosen: list[int] = []
    for stride in range(size, size + 5):
        found = []
        for direction in (-1, 1):
            for count in range(1, _MOST_PROBES):
                offset = direction * count * stride
                at = place.at + offset
                if at < len(best.kind.prefix) or at + size > best.kind.length:
                    break
                if not _reads_like(best, place.moved(offset), place, rest, pulled, evidence):
                    break
                found.append(offset)
        if len(found) > len(chosen):
            chosen = found
    return sorted(chosen)


def _reads_like(
    best: Candidate, other: Field, place: Field, rest: Sequence[bytes], pulled: Sequence[bytes],
    evidence: Evidence,
) -> bool:  # fmt: skip
    near = _NEAR[evidence.quantity]
    empty = _lost_raws(best, place, rest, pulled)
    for frame in rest:
        raw, mine = other.read(frame), best.value(frame)
        if raw is None or mine is None:
            return False
        if raw in empty:
            continue
        if abs(best.scale.base(raw) - mine) > near:
            return False
    return True


def _columns_beside(best: Candidate, evidence: Evidence) -> Iterator[FoundProbe]:
    place = best.place
    assert isinstance(place, LineField)
    lines = [c.data for c in evidence.rest]
    near = _NEAR[evidence.quantity]
    for number in range(place.shape.fields):
        if number == place.field:
            continue
        beside = LineField(place.shape, number)
        pairs = [(beside.read(line), best.value(line)) for line in lines]
        values = [
            (best.scale.base(raw), mine)
            for raw, mine in pairs
            if raw is not None and mine is not None
        ]
        if values and all(abs(value - mine) <= near for value, mine in values):
            yield FoundProbe(Candidate(best.kind, beside, best.scale, best.cost))


# No probe


def _lost_raws(
    best: Candidate, place: Field, rest: Sequence[bytes], pulled: Sequence[bytes]
) -> set[float]:
    """Return raw numbers that came at any field of this type only while a probe was unplugged."""
    found: set[float] = set()
    size = BYTES[place.type]
    for at in range(len(best.kind.prefix), best.kind.length - size + 1):
        if (at - place.at) % 1:
            continue
        other = Field(at, place.type, place.order)
        before = {other.read(frame) for frame in rest}
        after = {other.read(frame) for frame in pulled[1:]}  # the first may be of before
        if len(after) != 1 or after & before or None in after:
            continue
        (raw,) = after
        assert raw is not None
        was = [best.scale.base(one) for one in before if one is not None]
        if was and abs(best.scale.base(raw) - was[0]) >= _LOST:
            found.add(raw)
    return found


def _sentinels(probes: Sequence[FoundProbe], evidence: Evidence) -> tuple[int | str, ...]:
    """Return what a probe's field holds once it is unplugged, and never before."""
    best = probes[0].candidate
    found: Counter[float] = Counter()
    for probe in probes:
        one = probe.candidate
        before = [one.place.read(c.data) for c in evidence.all() if one.kind.covers(c)]
        after = [one.place.read(c.data) for c in evidence.pulled if one.kind.covers(c)]
        tail = set(after[len(after) // 2 :])
        if len(tail) != 1 or None in tail or tail & set(before):
            continue
        (raw,) = tail
        untouched = [one.place.read(c.data) for c in evidence.rest if one.kind.covers(c)]
        was = [one.scale.base(held) for held in untouched if held is not None]
        if raw is not None and was and abs(one.scale.base(raw) - was[-1]) >= _LOST:
            found[raw] += 1
    if isinstance(best.place, LineField):
        return tuple(sorted(_as_text(raw) for raw in found))
    return tuple(sorted(int(raw) for raw in found if float(raw).is_integer()))


def _as_text(raw: float) -> int | str:
    return int(raw) if float(raw).is_integer() else str(raw)


# Doubts and notes


def _of_probes(
    probes: Sequence[FoundProbe], evidence: Evidence, sentinels: Sequence[int | str]
) -> Iterator[str]:
    unsure = [str(probe.candidate.place) for probe in probes if not probe.is_sure]
    if unsure:
        yield f"{', '.join(unsure)} may be further probes, or chance: warm each to see"
    if evidence.pulled and not sentinels and not _has_no_number(probes, evidence):
        yield "nothing came while a probe was unplugged that means 'no probe'"


def _has_no_number(probes: Sequence[FoundProbe], evidence: Evidence) -> bool:
    """Tell whether an unplugged probe gives what is no number, which needs no sentinel."""
    for probe in probes:
        one = probe.candidate
        after = [one.place.read(c.data) for c in evidence.pulled if one.kind.covers(c)]
        if after and after[-1] is None:
            return True
    return False


def _notes(best: Candidate, probes: Sequence[FoundProbe], evidence: Evidence) -> Iterator[str]:
    """Yield what the bytes that are no probe seem to be."""
    if best.kind.is_line:
        return
    frames = [data for _, data in evidence.frames(best.kind)]
    pulled = [c.data for c in evidence.pulled if best.kind.covers(c)]
    taken = {at for p in probes if isinstance(p.candidate.place, Field)
             for at in range(p.candidate.place.at, p.candidate.place.end)}  # fmt: skip
    untouched = ways_of_bytes([c.data for c in evidence.rest if best.kind.covers(c)])
    for at, way in enumerate(ways_of_bytes(frames)):
        if at in taken or at < len(best.kind.prefix):
            continue
        held = frames[-1][at]
        if way != "still" and untouched[at] == "counts":
            yield f"byte {at} counts the frames"
        elif way == "still" and pulled and any(frame[at] != held for frame in pulled[1:]):
            yield f"byte {at} tells whether a probe is plugged in (0x{held:02x} when it is)"
        elif way == "still" and 20 <= held <= 100:
            yield f"byte {at} is {held}: perhaps the battery in percent"


def _shares_start(best: Candidate, evidence: Evidence) -> bool:
    """Tell whether longer frames of the source begin alike and would be read as these."""
    kind = best.kind
    if kind.is_line:
        return False
    others: list[Chunk] = [
        chunk for chunk in (*evidence.all(), *evidence.pulled)
        if chunk.source == kind.source and len(chunk.data) != kind.length
        and chunk.data.startswith(kind.prefix)
    ]  # fmt: skip
    return bool(others)


def _in_words(one: Candidate) -> str:
    add = f" {one.scale.add:+f}" if one.scale.add else ""
    return f"{one.place}, raw x {one.scale.scale:f}{add} {one.scale.unit}"


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
