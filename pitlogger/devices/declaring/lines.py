"""Which field of a line follows the reference, for devices that send text.

A line is cut at its separators: semicolons or tabs where there are any (a comma is then a
decimal comma), else commas, else blanks. A field holds at most one number, perhaps with a
name before it and a unit behind (``T1=107.4C``). The pattern proposed names every field that
holds a number, so that further values are declared by naming a group.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from pitlogger.devices.contract import Chunk
from pitlogger.devices.declaring.moments import LEAST, Moment, check_enough, valued
from pitlogger.devices.declaring.scales import LinearScale, Points, best_scale
from pitlogger.model.quantities import Quantity

# A number that is no part of a word: of T1=107.4 it is 107.4, of T-5 it is -5.
_NUMBER = r"(?:[+-]\s*|(?<![\w.+-]))\d{1,12}(?:[.]\d{1,9})?"
_SEPARATORS = (";", "\t", ",")
_TEXT_LIMIT = 256


class LineShape(NamedTuple):
    """How a line is cut: its separator, empty for blanks, and how many fields there are."""

    separator: str
    fields: int

    def cut(self, line: str) -> list[str]:
        """Return the fields of a line."""
        return line.split(self.separator) if self.separator else line.split()

    @property
    def number(self) -> str:
        """Pattern of a number; with ``;`` or a tab between fields it may have a comma."""
        return _NUMBER.replace("[.]", "[.,]") if self.separator in (";", "\t") else _NUMBER

    def value(self, field: str) -> float | None:
        """Return the number in a field, if there is one."""
        match = re.search(self.number, field)
        if match is None:
            return None
        return float(Decimal(re.sub(r"\s", "", match[0]).replace(",", ".")))


@dataclass(frozen=True, slots=True)
class LineProposal:
    """What to declare of a device that sends lines.

    Attributes:
        pattern: Regular expression of the whole line; groups ``f1``, ``f2``, ...
        group: The one that follows the reference.
        sentinels: Texts sent while the probe was pulled, as the group holds them.
    """

    pattern: str
    group: str
    scale: LinearScale
    sentinels: tuple[int | str, ...]
    doubts: tuple[str, ...]
    moments: int


class _Match(NamedTuple):
    field: int
    scale: LinearScale
    cost: float


def propose(moments: Sequence[Moment], quantity: Quantity, within: float) -> LineProposal | None:
    """Return the likeliest field, or ``None`` where none meets the references.

    Raises:
        RefusedError: Too few moments, or references too close together.
    """
    check_enough(moments, quantity, within)
    shape = usual_shape(moments)
    if shape is None:
        return None
    found = sorted(_matches(shape, moments, quantity, within), key=lambda match: match.cost)
    if not found:
        return None
    best = found[0]
    pattern = _pattern(shape, moments)
    group = f"f{best.field + 1}"
    doubts = list(_doubts(found))
    return LineProposal(
        pattern, group, best.scale, _sentinels(pattern, group, moments), tuple(doubts),
        len(valued(moments)),
    )  # fmt: skip


def text_of(chunk: Chunk) -> str | None:
    """Return a line as text, ``None`` where it is none."""
    text = chunk.data.decode("ascii", errors="replace").strip()
    return text if text and len(text) <= _TEXT_LIMIT and "\ufffd" not in text else None


def _texts(moment: Moment) -> list[str]:
    return [text for chunk in moment.chunks if (text := text_of(chunk)) is not None]


def shape_of(line: str) -> LineShape:
    """Return how a line is cut."""
    separator = next((one for one in _SEPARATORS if one in line), "")
    return LineShape(separator, len(line.split(separator) if separator else line.split()))


def usual_shape(moments: Sequence[Moment]) -> LineShape | None:
    """Return the shape that is there at most moments, ``None`` where none is at three."""
    counts = Counter(
        shape for _, moment in valued(moments) for shape in {shape_of(t) for t in _texts(moment)}
    )
    often = [shape for shape, count in counts.most_common() if count >= LEAST]
    return often[0] if often else None


def _matches(
    shape: LineShape, moments: Sequence[Moment], quantity: Quantity, within: float
) -> Iterator[_Match]:
    for field in range(shape.fields):
        points = Points()
        for reference, moment in valued(moments):
            lines = [text for text in _texts(moment) if shape_of(text) == shape]
            numbers = [
                number
                for text in lines
                if (number := shape.value(shape.cut(text)[field])) is not None
            ]
            points.add(numbers, reference)
        scale = best_scale(points, quantity, within)
        if scale is not None:
            yield _Match(field, scale, scale.cost)


def _pattern(shape: LineShape, moments: Sequence[Moment]) -> str:
    """Return the pattern of a line, with a group for each field that ever held a number."""
    lines = [t for moment in moments for t in _texts(moment) if shape_of(t) == shape]
    stuff = rf"[^{shape.separator}]*" if shape.separator else r"\S*"
    parts = []
    for field in range(shape.fields):
        if any(shape.value(shape.cut(line)[field]) is not None for line in lines):
            parts.append(rf"(?:{stuff}?(?P<f{field + 1}>{shape.number}){stuff}|{stuff})")
        else:
            parts.append(stuff)
    between = shape.separator if shape.separator != "\t" else r"\t"
    return (between or r"\s+").join(parts)


def _sentinels(pattern: str, group: str, moments: Sequence[Moment]) -> tuple[int | str, ...]:
    """Return the texts the group held while there was no value, and never beside a reference.

    It holds an empty text where it took no part in the line.
    """

    def texts(chosen: Sequence[Moment]) -> set[str]:
        matches = (re.fullmatch(pattern, text) for moment in chosen for text in _texts(moment))
        return {(match[group] or "").strip() for match in matches if match}

    pulled = texts([moment for moment in moments if moment.reference is None])
    found = pulled - texts([moment for _, moment in valued(moments)])
    return tuple(sorted(found)) if len(found) <= 2 else ()


def _doubts(found: Sequence[_Match]) -> Iterator[str]:
    best = found[0]
    if not best.scale.is_usual:
        yield (
            f"scale {best.scale.scale} and offset {best.scale.add} are no customary ones: "
            "they are a straight line through the references"
        )
    if len(found) > 1:
        others = ", ".join(str(match.field + 1) for match in found[1:4])
        yield f"field {others} fits too: it may be a second probe in the same place, or chance"
