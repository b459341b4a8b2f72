"""What each piece would weigh if it were on the scale now: checkpoint, mass, spread.

The step from its last weighing says how much it usually keeps (``step_priors``). Part of the
spread is common to the pieces of a cook (one trimmer, one pit), the rest is each piece's own;
pieces weighed there already tell the common part. Shares and chances: ours, from trials on
simulated kitchens (``docs/recognition.md``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import Stage, natural
from pitlogger.yields.causes import CHAIN, PLACE
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.plausible import bought_g

_OWN = 0.35  # of a step's spread, as standard deviation; the rest is common
_LABEL_SD, _BOUGHT_SD = 0.012, 0.3
_JUST_MS = 20 * 60_000  # so long after a stage began its first weighing may still come
_CHANCES = (0.75, 0.2, 0.05)  # of the checkpoint that comes next, and of those after it
_NEXT: dict[Stage, tuple[str, ...]] = {
    Stage.RAW: ("purchased", "trimmed", "seasoned"),
    Stage.THAWING: ("thawed", "trimmed", "seasoned"),
    Stage.BRINING: ("brined", "seasoned"),
    Stage.TRIMMED: ("trimmed", "seasoned", "on-pit"),
    Stage.SEASONED: ("seasoned", "on-pit"),
    Stage.SMOKING: ("at-wrap", "off-pit"),
    Stage.WRAPPED: ("at-wrap", "off-pit"),
    Stage.RESTING: ("off-pit", "rested", "carved"),
    Stage.HOLDING: ("out-of-hold", "rested", "carved"),
    Stage.IN_TRANSIT: ("out-of-hold", "carved"),
    Stage.CARVED: ("carved", "served"),
    Stage.SERVING: ("served",),
}
_PASSED = {Stage.WRAPPED: "at-wrap", Stage.RESTING: "off-pit"}
# By-products of the part they are of: their usual share of it, spread of its logarithm.
_ASIDE = {"drippings": ("off-pit", 0.05, 0.7), "bone": ("carved", 0.12, 0.5)}
_ASIDE_CHANCE = 0.2


@dataclass(frozen=True, slots=True)
class Expected:
    """One piece at one checkpoint; masses as natural logarithms of grams.

    ``rank`` is its place among the pieces that wait for the same checkpoint, in the order in
    which they were weighed last.
    """

    piece: str
    checkpoint: str
    log_g: float
    common_sd: float
    own_sd: float
    chance: float
    rank: int = 0
    waiting: int = 1

    def density(self, mass_g: float, shift: float | None = None) -> float:
        """Return how likely a mass is, per unit of its logarithm.

        Args:
            shift: The common part, in standard deviations; ``None`` where it is not known.
        """
        mean = self.log_g + (0.0 if shift is None else shift * self.common_sd)
        spread = self.own_sd if shift is not None else math.hypot(self.own_sd, self.common_sd)
        z = (math.log(mass_g) - mean) / spread
        return self.chance * math.exp(-0.5 * z * z) / (spread * math.sqrt(2.0 * math.pi))


def expected(pieces: Iterable[PieceBook], now_ms: int) -> list[Expected]:
    """Return what the open pieces would weigh now, each at the checkpoints it waits for."""
    known = [held for held in pieces if held.is_open]
    found = [one for held in known for one in expected_of(held, known, now_ms)]
    return _ranked(found, {held.piece.id: _weighed_ms(held) for held in known})


def keeps_order(pieces: Iterable[PieceBook]) -> float:
    """Return how likely the next piece weighed is the one whose turn it is."""
    orders = _orders(pieces)
    turns = hits = 0
    for earlier, later in pairwise(orders):
        waiting = [piece for piece in earlier if piece in later]
        for piece in (one for one in later if one in waiting):
            if len(waiting) > 1:
                turns += 1
                hits += piece == waiting[0]
            waiting.remove(piece)
    return (hits + 3.0) / (turns + 5.0)


def _orders(pieces: Iterable[PieceBook]) -> list[list[str]]:
    """Return for each checkpoint the pieces in the order in which they were weighed there."""
    at: dict[str, list[tuple[int, str]]] = {}
    for held in pieces:
        for checkpoint, (at_ms, _) in _chain(held).items():
            at.setdefault(checkpoint, []).append((at_ms, held.piece.id))
    return [[piece for _, piece in sorted(at[name])] for name in CHAIN if name in at]


def _chain(held: PieceBook) -> dict[str, tuple[int, float]]:
    """Return time and net grams by checkpoint, in the order of the chain."""
    found = {}
    for one in held.weighings:
        body = one.weighed
        if body.checkpoint in PLACE and body.net_mg > 0:
            found[body.checkpoint] = (body.at_ms, body.net_mg / 1000)
    return {name: found[name] for name in CHAIN if name in found}


def _weighed_ms(held: PieceBook) -> int:
    return max((at_ms for at_ms, _ in _chain(held).values()), default=-1)


def expected_of(held: PieceBook, others: Sequence[PieceBook], now_ms: int) -> list[Expected]:
    """Return what one piece would weigh now, at each checkpoint it waits for."""
    chain = _chain(held)
    last = next(reversed(chain), None)
    if last == "label":
        last = None if len(chain) == 1 else last
    names = [
        name
        for name in _NEXT.get(held.stage, ())
        if name not in chain and (last is None or PLACE[name] > PLACE[last])
    ]
    if now_ms - held.stage_since_ms > _JUST_MS and (passed := _PASSED.get(held.stage)) in names:
        names.remove(passed)
        names.append(passed)
    found = [
        replace(one, chance=chance)
        for name, chance in zip(names, _CHANCES, strict=False)
        if (one := _at(held, name, last, others)) is not None
    ]
    return [*found, *_aside(held, chain)]


def _at(
    held: PieceBook, name: str, last: str | None, others: Sequence[PieceBook]
) -> Expected | None:
    piece = held.piece
    if last is None:
        label = _chain(held).get("label")
        told_g = label[1] if label else (piece.mass_mg or 0) * piece.count / 1000
        base_g, sd = told_g, _LABEL_SD
        if not told_g:
            base_g, sd = bought_g(piece.cut, piece.count), _BOUGHT_SD
        if name == "purchased":
            return Expected(piece.id, name, math.log(base_g), 0.01, sd, 1.0)
        step = usual("purchased", name)
        own = math.hypot(sd, _OWN * step.log_sd)
        return Expected(piece.id, name, math.log(base_g) + step.log_mean, step.log_sd, own, 1.0)
    step = usual(last, name)
    own = _OWN * step.log_sd
    common = math.sqrt(step.log_sd**2 - own**2)
    seen = [
        math.log(chain[name][1] / chain[last][1]) - step.log_mean
        for other in others
        if other is not held and {last, name} <= (chain := _chain(other)).keys()
    ]
    shift, common = _learned(seen, common, own)
    log_g = math.log(_chain(held)[last][1]) + step.log_mean + shift
    return Expected(piece.id, name, log_g, common, own, 1.0)


def _learned(seen: Sequence[float], common: float, own: float) -> tuple[float, float]:
    """Return the common part after some pieces told of it, and its spread left."""
    if not seen:
        return 0.0, common
    weight = len(seen) * common**2 / (len(seen) * common**2 + own**2)
    return weight * sum(seen) / len(seen), common * math.sqrt(1.0 - weight)


def _aside(held: PieceBook, chain: dict[str, tuple[int, float]]) -> list[Expected]:
    """Return what came off a piece and may be weighed by itself, after the piece was."""
    known = {one.weighed.checkpoint for one in held.weighings}
    found = []
    if {"purchased", "trimmed"} <= chain.keys() and not known & {"trim-fat", "trim-lean"}:
        off_g = chain["purchased"][1] - chain["trimmed"][1]
        if off_g > 50.0:
            found.append(("trim-fat", math.log(off_g), 0.05))
    for name, (of, share, spread) in _ASIDE.items():
        if of in chain and name not in known:
            found.append((name, math.log(share * chain[of][1]), spread))
    return [
        Expected(held.piece.id, name, log_g, 1e-9, sd, _ASIDE_CHANCE) for name, log_g, sd in found
    ]


def _ranked(found: Sequence[Expected], weighed_ms: dict[str, int]) -> list[Expected]:
    """Return the same with ranks. Of pieces that nothing tells apart only the first waits."""
    made = []
    for checkpoint in dict.fromkeys(one.checkpoint for one in found):
        same = [one for one in found if one.checkpoint == checkpoint]
        same.sort(key=lambda one: (weighed_ms[one.piece], natural(one.piece)))
        alike: set[tuple[float, float]] = set()
        kept = []
        for one in same:
            looks = (one.log_g, one.own_sd)
            if weighed_ms[one.piece] >= 0 or looks not in alike:
                kept.append(one)
            alike.add(looks)
        made += [replace(one, rank=at, waiting=len(kept)) for at, one in enumerate(kept)]
    return made
