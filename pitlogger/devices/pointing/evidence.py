"""What was seen of a device: at rest, while one probe was warmed, beside true values, unplugged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from pitlogger.devices.contract import Chunk
from pitlogger.errors import RefusedError
from pitlogger.model.quantities import Quantity

# Ours: two thermometers in one bath, and two scales, agree so far; degC, g.
_WITHIN = {Quantity.TEMPERATURE: 1.5, Quantity.MASS: 10.0}
TRUE_VALUES = 2
APART = 15.0  # degC between them at least; 100 g for a mass: steps and units then show
_APART = {Quantity.TEMPERATURE: APART, Quantity.MASS: 100.0}


@dataclass(frozen=True, slots=True)
class Moment:
    """A true value that a person typed, degC or g, with what came around it, oldest first."""

    reference: float
    chunks: tuple[Chunk, ...]


@dataclass(frozen=True, slots=True)
class Evidence:
    """Frames or lines, oldest first.

    Attributes:
        rest: While nobody touched the device.
        warmed: While one probe was warmed, or one mass put on.
        moments: Beside true values that a person typed.
        pulled: While one probe was unplugged; empty where none was.
        sends_lines: Whether these are lines of text.
    """

    rest: tuple[Chunk, ...]
    warmed: tuple[Chunk, ...]
    moments: tuple[Moment, ...]
    pulled: tuple[Chunk, ...] = ()
    sends_lines: bool = False
    quantity: Quantity = Quantity.TEMPERATURE

    @property
    def within(self) -> float:
        """How far a value may lie from what a person typed, degC or g."""
        return _WITHIN[self.quantity]

    def check(self) -> None:
        """Refuse evidence that cannot determine a scale.

        Raises:
            RefusedError: Too few true values, or too close together.
        """
        values = [moment.reference for moment in self.moments]
        if len(values) < TRUE_VALUES:
            raise RefusedError(f"{len(values)} true values: {TRUE_VALUES} are needed")
        apart = _APART[self.quantity]
        if max(values) - min(values) < apart:
            unit = "degC" if self.quantity is Quantity.TEMPERATURE else "g"
            raise RefusedError(
                f"the true values lie {max(values) - min(values):g} {unit} apart: at least "
                f"{apart:g} are needed, such as ice water and a warm hand"
            )

    def all(self) -> Iterator[Chunk]:
        """Yield everything but what came while a probe was unplugged."""
        yield from self.rest
        yield from self.warmed
        for moment in self.moments:
            yield from moment.chunks

    def frames(self, kind: FrameGroup) -> Iterator[tuple[str, bytes]]:
        """Yield the frames of one kind in order, each with its part: rest, warmed, 0, 1, ..."""
        parts = [("rest", self.rest), ("warmed", self.warmed)]
        parts += [(str(n), moment.chunks) for n, moment in enumerate(self.moments)]
        for part, chunks in parts:
            for chunk in chunks:
                if kind.covers(chunk):
                    yield part, chunk.data


@dataclass(frozen=True, slots=True)
class FrameGroup:
    """Frames that look alike: source, exact length, first bytes where needed; or all lines."""

    source: str
    length: int
    prefix: bytes = b""
    is_line: bool = False

    def covers(self, chunk: Chunk) -> bool:
        """Tell whether a frame is of this kind."""
        if self.is_line:
            return True
        same = chunk.source == self.source and len(chunk.data) == self.length
        return same and chunk.data.startswith(self.prefix)


_MOST_PREFIXES = 4  # first bytes that tell frames apart; more of them are a counter or a value


def kinds(evidence: Evidence) -> list[FrameGroup]:
    """Return the kinds of frames that came in every part of the evidence."""
    if evidence.sends_lines:
        return [FrameGroup("", 0, is_line=True)]
    counts = Counter((chunk.source, len(chunk.data)) for chunk in evidence.all() if chunk.data)
    found: list[FrameGroup] = []
    for source, length in counts:
        whole = FrameGroup(source, length)
        firsts = {data[:1] for _, data in evidence.frames(whole)}
        several = [FrameGroup(source, length, first) for first in sorted(firsts)]
        split = several if 1 < len(firsts) <= _MOST_PREFIXES else []
        found += [kind for kind in (whole, *split) if _is_everywhere(evidence, kind)]
    return found


def _is_everywhere(evidence: Evidence, kind: FrameGroup) -> bool:
    parts = {part for part, _ in evidence.frames(kind)}
    return {"rest", "warmed"} <= parts and len(parts) == 2 + len(evidence.moments)
