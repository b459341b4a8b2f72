"""Where mass goes between two weighings, by cause.

A loss is positive, a gain negative; the causes of a piece sum to its first mass less its
last. Where a weighing between was left out, its causes stay joined (``wrapped+rest``): no
share is invented.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import pairwise

from pitlogger.model.cooks import AddedMass, ByProduct, Checkpoint
from pitlogger.yields.weighing.uncertainty import Measured, total

CHAIN: tuple[str, ...] = tuple(c for c in Checkpoint if c is not Checkpoint.LEFTOVER)
PLACE = {checkpoint: place for place, checkpoint in enumerate(CHAIN)}
# What happens on the way to each checkpoint.
_CAUSE = {
    "purchased": "purge",
    "thawed": "thaw",
    "brined": "brine",
    "trimmed": "trim",
    "seasoned": "rub",
    "on-pit": "standing",
    "at-wrap": "smoke",
    "unwrapped": "wrapped",
    "off-pit": "wrapped",
    "rested": "rest",
    "out-of-hold": "hold",
    "carved": "carve",
    "sauced": "sauce",
    "served": "line",
}
# Every piece goes through these, weighed or not; the others may not have happened at all.
_CERTAIN = frozenset({"purchased", "trimmed", "at-wrap", "off-pit", "rested", "carved"})
# Added mass belongs to the step that passes this checkpoint.
_ADDED_AT: dict[str, str] = {
    AddedMass.BRINE: "brined",
    AddedMass.RUB: "seasoned",
    AddedMass.SPRITZ: "at-wrap",
    AddedMass.TALLOW: "unwrapped",
    AddedMass.SAUCE: "sauced",
}
# A by-product weighed by itself is a cause of its own in the step that passes this point.
_LEFT_AT: dict[str, str] = {
    ByProduct.PURGE: "purchased",
    ByProduct.DRIPPINGS: "off-pit",
    ByProduct.BONE: "carved",
    ByProduct.SKIN: "carved",
    ByProduct.TASTING: "carved",
    ByProduct.WASTE: "carved",
}
# What remains of a gaining step once the added mass is known by itself.
_REMAINDER = {"brine": "brining", "rub": "seasoning", "sauce": "saucing"}
_KEEPS_JUICE = frozenset({"foil", "boat", "pan"})


@cache
def cause_of(start: str, end: str) -> str:
    """Return the cause, or joined causes, of the change between two checkpoints."""
    passed = [c for c in CHAIN[PLACE[start] + 1 : PLACE[end] + 1] if c in _CERTAIN or c == end]
    if start == "unwrapped" and end == "off-pit":
        return "uncovered"
    if start == "unwrapped":
        passed.remove("off-pit")
    causes = list(dict.fromkeys(_CAUSE[c] for c in passed))
    if "smoke" in causes and "wrapped" in causes:
        causes[causes.index("smoke")] = "cook"
        causes.remove("wrapped")
    return "+".join(causes)


def passes(start: str, end: str, checkpoint: str) -> bool:
    """Return whether the step goes past the checkpoint or ends at it."""
    return PLACE[start] < PLACE[checkpoint] <= PLACE[end]


def losses(
    chain: Sequence[str],
    masses: Mapping[str, Measured],
    wrap: str | None = None,
    seam: tuple[str, Measured] | None = None,
    drops: Sequence[tuple[str, Measured]] = (),
) -> dict[str, Measured]:
    """Return the loss of a piece by cause, grams.

    Args:
        chain: Checkpoints weighed, in the order of a cook.
        masses: Net masses by checkpoint, by-product and added mass.
        wrap: How it was wrapped; foil, boat and pan keep the juice, which is set apart.
        seam: Checkpoint and mass missing between parent and children weighed there.
        drops: Parts thrown away, each with the checkpoint that was weighed next, ``""`` if none.
    """
    found: dict[str, Measured] = {}
    if seam is not None:
        found["unaccounted"] = seam[1]
    for start, end in pairwise(chain):
        change = masses[start] - masses[end]
        if seam is not None and seam[0] == start:
            change -= seam[1]
        for at, mass in drops:
            if at == end:
                change -= mass
        _share(start, end, change, masses, wrap, found)
    if chain and chain[0] == "purchased" and ByProduct.PURGE in masses:
        found["purge"] = masses[ByProduct.PURGE]
    if drops:
        found["discarded"] = total(mass for _, mass in drops)
    return found


def _share(
    start: str,
    end: str,
    rest: Measured,
    masses: Mapping[str, Measured],
    wrap: str | None,
    found: dict[str, Measured],
) -> None:
    """Share out the loss ``rest`` of one step among its causes."""
    cause = cause_of(start, end)
    for name, at in _ADDED_AT.items():
        if name in masses and passes(start, end, at):
            rest += masses[name]
            found[name] = masses[name].scaled(-1.0)
            cause = _REMAINDER.get(cause, cause)
    for name, at in _LEFT_AT.items():
        if name in masses and passes(start, end, at) and name != cause:
            rest -= masses[name]
            kept = name == ByProduct.DRIPPINGS and wrap in _KEEPS_JUICE
            found["kept-in-wrap" if kept else name] = masses[name]
    if end == "served" and "leftover" in masses:
        rest -= masses["leftover"]
        found["leftover"] = masses["leftover"]
    found[cause] = found[cause] + rest if cause in found else rest
