"""Weighings that look wrong: asked, never refused and never silently taken.

Ids: ``mass-rises``, ``unit-slip``, ``implausible-step``, ``wrong-piece``;
from the book of a cook also ``weighed-twice`` and ``tare-not-taken``. How far is too far is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from pitlogger.model.quantities import show_share
from pitlogger.yields.causes import CHAIN, PLACE, passes
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.records import EntryDoubt, PastPiece

# Steps that may gain mass without anybody's mistake.
_GAINS = frozenset({"brined", "seasoned", "sauced"})
_ADDED = {"brine": "brined", "rub": "seasoned", "spritz": "at-wrap", "tallow-on": "unwrapped",
          "sauce": "sauced"}  # fmt: skip
# A pound is 1/2.2046 kg and an ounce 28.35 g (NIST SP 811, appendix B).
_SLIPS = ((2.2046226, "pounds and kilograms"), (28.349523, "ounces and grams"))
_FAR, _NEAR = 4.0, 2.0


def doubts_of_cook(cook: Sequence[PastPiece]) -> list[EntryDoubt]:
    """Return what is doubtful about the weighings of the pieces of one cook."""
    mixed = list(_wrong_pieces(cook))
    told = {(doubt.piece, doubt.checkpoint) for doubt in mixed}
    return mixed + [
        doubt
        for piece in cook
        for doubt in doubts_of_piece(piece)
        if (doubt.piece, doubt.checkpoint) not in told
    ]


def doubts_of_piece(record: PastPiece) -> Iterator[EntryDoubt]:
    """Yield what is doubtful about one piece; at most one doubt a step."""
    trusted: str | None = None
    previous: str | None = None
    for end in (checkpoint for checkpoint in CHAIN if checkpoint in record.masses):
        # After a doubt the next mass may fit either of the two: then it is not doubted.
        asked = [
            _doubt(record, start, end)
            for start in dict.fromkeys((trusted, previous))
            if start is not None
        ]
        previous = end
        if asked and all(doubt is not None for doubt in asked):
            yield from (doubt for doubt in asked[:1] if doubt is not None)
        else:
            trusted = end


def _doubt(record: PastPiece, start: str, end: str) -> EntryDoubt | None:
    return (
        _unit_slip(record, start, end)
        or _rise(record, start, end)
        or _implausible(record, start, end)
    )


def _ratio(record: PastPiece, start: str, end: str) -> float:
    before, after = record.masses[start].value, record.masses[end].value
    return max(after, 1e-6) / max(before, 1e-6)


def _grams(record: PastPiece, checkpoint: str) -> str:
    return f"{record.masses[checkpoint].value:.0f} g"


def _unit_slip(record: PastPiece, start: str, end: str) -> EntryDoubt | None:
    ratio, expected = _ratio(record, start, end), usual(start, end)
    if abs(expected.z(ratio)) < _FAR:
        return None
    for factor, units in _SLIPS:
        for corrected in (ratio * factor, ratio / factor):
            may_be = corrected <= 1.0 or end in _GAINS
            if may_be and abs(expected.z(corrected)) < _NEAR:
                return EntryDoubt(
                    "unit-slip",
                    f"{record.piece}: {_grams(record, end)} {end} after {_grams(record, start)} "
                    f"{start} would fit if {units} were mixed up in one of the two. "
                    "Which unit was read?",
                    record.piece,
                    end,
                )
    return None


def _rise(record: PastPiece, start: str, end: str) -> EntryDoubt | None:
    if end in _GAINS and abs(usual(start, end).z(_ratio(record, start, end))) < _FAR:
        return None
    change = record.masses[end] - record.masses[start]
    added_g = sum(
        record.masses[name].value
        for name, at in _ADDED.items()
        if name in record.masses and passes(start, end, at)
    )
    rise_g = change.value - added_g
    if rise_g <= 2.0 * change.u or change.value <= 0:
        return None
    return EntryDoubt(
        "mass-rises",
        f"{record.piece}: {_grams(record, end)} {end} is {rise_g:.0f} g more than "
        f"{_grams(record, start)} {start}, and meat does not gain there. "
        "Was the tray, pan or wrap on the scale, or was another piece weighed?",
        record.piece,
        end,
    )


def _implausible(record: PastPiece, start: str, end: str) -> EntryDoubt | None:
    ratio, expected = _ratio(record, start, end), usual(start, end)
    if abs(expected.z(ratio)) < _FAR:
        return None
    return EntryDoubt(
        "implausible-step",
        f"{record.piece}: {_grams(record, end)} {end} is {show_share(ratio)} of "
        f"{_grams(record, start)} {start}, where about {show_share(expected.ratio)} is usual. "
        "Is it the right piece, and all of it?",
        record.piece,
        end,
    )


def _wrong_pieces(cook: Sequence[PastPiece]) -> Iterator[EntryDoubt]:
    """Ask where two pieces fit much better with one of their weighings exchanged."""
    for one, other in combinations(cook, 2):
        for end in sorted(set(one.masses) & set(other.masses) & set(CHAIN), key=PLACE.__getitem__):
            starts = (_before(one, end), _before(other, end))
            if starts[0] is None or starts[1] is None:
                continue
            if _fit_exchanged(one, other, starts[0], starts[1], end):
                yield EntryDoubt(
                    "wrong-piece",
                    f"{one.piece} ({_grams(one, end)}) and {other.piece} ({_grams(other, end)}) "
                    f"fit better the other way round at {end}. Were they exchanged?",
                    one.piece,
                    end,
                )


def _before(record: PastPiece, end: str) -> str | None:
    earlier = [c for c in CHAIN[: PLACE[end]] if c in record.masses]
    return earlier[-1] if earlier else None


def _fit_exchanged(one: PastPiece, other: PastPiece, start: str, start_2: str, end: str) -> bool:
    expected, expected_2 = usual(start, end), usual(start_2, end)
    before, before_2 = one.masses[start].value, other.masses[start_2].value
    after, after_2 = one.masses[end].value, other.masses[end].value
    if min(before, before_2, after, after_2) <= 0:
        return False
    as_is = max(abs(expected.z(after / before)), abs(expected_2.z(after_2 / before_2)))
    turned = max(abs(expected.z(after_2 / before)), abs(expected_2.z(after / before_2)))
    return as_is > _FAR and turned < _NEAR
