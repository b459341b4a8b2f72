"""Verbs: how a line of a script is read and which activity it begins.

A form such as ``weigh {checkpoint:word} [in {container:word}]`` is turned into a pattern;
what stands in braces is read by its type and handed to the activity by its name. Square
brackets hold what may be left out; the activity's own default then counts.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import (
    parse_duration_ms,
    parse_mass_mg,
    parse_temperature_mc,
    show_share,
)

if TYPE_CHECKING:
    from pitlogger_simulators.people.hand import Hand

Activity = Iterator[float]  # seconds until it goes on
Begin = Callable[..., Activity]


class Amount(NamedTuple):
    """A mass, or a share of what there is."""

    grams: float | None = None
    share: float | None = None

    def of(self, mass_g: float) -> float:
        """Return the amount in grams, of a piece of ``mass_g``."""
        return self.grams if self.grams is not None else (self.share or 0.0) * mass_g


def read_amount(text: str) -> Amount:
    """Return ``14 %`` or ``450 g`` as an amount."""
    if text.rstrip().endswith("%"):
        number = text.rstrip().removesuffix("%").strip()
        try:
            share = float(number) / 100
        except ValueError:
            raise QuantityError(f"'{text}' is no share: write one such as 14 %") from None
        if not 0 <= share <= 1:
            raise QuantityError(f"'{text}' is no share: expected 0 to 100 %")
        return Amount(share=share)
    return Amount(grams=parse_mass_mg(text) / 1000)


def _signed_g(text: str) -> float:
    sign = -1.0 if text.startswith("-") else 1.0
    return sign * parse_mass_mg(text.lstrip("+-")) / 1000


def _shares(text: str) -> dict[str, float]:
    found = {}
    for part in text.split(","):
        name, _, share = part.partition("=")
        found[name.strip()] = read_amount(share.strip()).share or 0.0
    if abs(sum(found.values()) - 1.0) > 1e-6:
        raise QuantityError(
            f"'{text}': the shares add up to {show_share(sum(found.values()))}, not 100 %"
        )
    return found


_MEASURE = r"[\d.]+ ?[A-Za-z]+(?: [\d.]+ ?[A-Za-z]+)*"  # 6 h, 3 h 30 min, 450 g
_READERS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "word": (r"[^\s,]+", str),
    "words": (r"[^\s,]+(?:\s*,\s*[^\s,]+)*", lambda text: tuple(re.split(r"\s*,\s*", text))),
    "text": (r".+", str),
    "amount": (rf"[\d.]+ ?%|{_MEASURE}", read_amount),
    "mass": (rf"[+-]?{_MEASURE}", _signed_g),
    "duration": (_MEASURE, lambda text: parse_duration_ms(text) / 1000),
    "temperature": (r"[+-]?[\d.]+ ?[CF]", lambda text: parse_temperature_mc(text) / 1000),
    "number": (r"[\d.]+", float),
    "shares": (r".+", _shares),
}
_SLOT = re.compile(r"\{(\w+):(\w+)\}")


@dataclass(frozen=True, slots=True)
class Verb:
    """One thing that can be done.

    Attributes:
        form: As written in a script.
        begin: Makes the activity of a hand, a piece and the arguments.
        needs_piece: Whether it is done to the piece of its script.
    """

    form: str
    begin: Begin
    needs_piece: bool = True

    @property
    def pattern(self) -> re.Pattern[str]:
        """The form as a regular expression with a group a slot."""
        return _compiled(self.form)

    def arguments(self, found: re.Match[str]) -> dict[str, Any]:
        """Return what the slots hold, read by their types; absent ones are left out.

        Raises:
            ValueError: A value that cannot be read.
        """
        types = dict(_SLOT.findall(self.form))
        return {
            name: _READERS[types[name]][1](text)
            for name, text in found.groupdict().items()
            if text is not None
        }

    def start(self, hand: Hand, piece: str, arguments: dict[str, Any]) -> Activity:
        """Return the activity, begun."""
        if self.needs_piece:
            return self.begin(hand, piece, **arguments)
        return self.begin(hand, **arguments)


_patterns: dict[str, re.Pattern[str]] = {}


def _compiled(form: str) -> re.Pattern[str]:
    if form not in _patterns:
        parts = []
        for part in re.split(r"(\s*\[|\]|\{\w+:\w+\}|\s+)", form):
            slot = _SLOT.fullmatch(part)
            if slot is not None:
                parts.append(f"(?P<{slot[1]}>{_READERS[slot[2]][0]})")
            elif part.strip() == "[":
                parts.append(r"(?:\s+")
            elif part == "]":
                parts.append(")?")
            elif part.isspace():
                parts.append(r"\s+")
            else:
                parts.append(re.escape(part))
        _patterns[form] = re.compile("".join(parts))
    return _patterns[form]
