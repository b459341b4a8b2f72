"""What each piece would weigh if it were on the scale now: checkpoint, mass, spread.

The step from its last weighing says how much it usually keeps (``step_priors``). Part of the
spread is common to the pieces of a cook (one trimmer, one pit), the rest is each piece's own;
pieces weighed there already tell the common part. Shares and chances: ours, from trials on
simulated kitchens (``docs/recognition.md``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import NEVER, Stage, natural
from pitlogger.yields.causes import CHAIN, PLACE
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.plausible import bought_g

_OWN = 0.28  # of a step's spread, as standard deviation; the rest is common
_LABEL_SD, _BOUGHT_SD = 0.012, 0.3
_JUST_MS = 20 * 60_000  # so long after a stage began its first weighing may still come
# How often a checkpoint is weighed at all, where nothing was heard of it in this cook.
_WEIGHED = {
    "purchased": 0.97, "thawed": 0.6, "brined": 0.6, "trimmed": 0.95, "seasoned": 0.3,
    "on-pit": 0.02, "at-wrap": 0.5, "off-pit": 0.85, "rested": 0.45, "out-of-hold": 0.3,
    "carved": 0.85, "served": 0.3,
}  # fmt: skip
_SESSION_MS = 30 * 60_000  # within which weighings belong together
# What may be weighed in a stage, and how well that fits it: marks of the pit are mostly there,
# those of the table seldom. A stage that has just begun fits the weighing at its beginning.
_NEXT: dict[Stage, dict[str, float]] = {
    Stage.RAW: {"purchased": 1.0, "trimmed": 1.0, "seasoned": 1.0},
    Stage.THAWING: {"thawed": 1.0, "trimmed": 1.0, "seasoned": 1.0},
    Stage.BRINING: {"brined": 1.0, "seasoned": 1.0},
    Stage.TRIMMED: {"trimmed": 1.0, "seasoned": 0.5, "on-pit": 0.1},
    Stage.SEASONED: {"seasoned": 1.0, "on-pit": 0.5},
    Stage.SMOKING: {"at-wrap": 1.0, "off-pit": 0.02},
    Stage.WRAPPED: {"off-pit": 1.0, "at-wrap": 0.02},
    Stage.RESTING: {"rested": 1.0, "carved": 1.0, "off-pit": 0.05},
    Stage.HOLDING: {"out-of-hold": 1.0, "rested": 0.3, "carved": 1.0},
    Stage.IN_TRANSIT: {"out-of-hold": 1.0, "carved": 1.0},
    Stage.CARVED: {"carved": 1.0, "served": 1.0},
    Stage.SERVING: {"served": 1.0},
}
_JUST_BEGUN: dict[Stage, dict[str, float]] = {
    Stage.WRAPPED: {"at-wrap": 1.0, "off-pit": 0.05},
    Stage.RESTING: {"off-pit": 1.0, "rested": 0.1, "carved": 0.05},
}
_UNWRAPPED = {"off-pit": 1.0}
# By-products of the part they are of: their usual share of it, spread of its logarithm.
_ASIDE = {"drippings": ("off-pit", 0.05, 0.7), "bone": ("carved", 0.12, 0.5)}
_ASIDE_CHANCE = 0.2


Follows = Literal["nothing", "same-checkpoint", "same-piece", "other"]


@dataclass(frozen=True, slots=True)
class Habits:
    """How the pieces of a cook are weighed, each as a chance.

    ``in_order``: the next piece is the one whose turn it is. Within half an hour of a weighing
    the next is of the same checkpoint, or of the same piece.
    """

    in_order: float
    same_checkpoint: float
    same_piece: float


@dataclass(frozen=True, slots=True)
class Expected:
    """One piece at one checkpoint; masses as natural logarithms of grams.

    ``rank`` is its place among the pieces that wait for the same checkpoint, in the order in
    which they were weighed last. ``follows`` is how it follows on the last weighing: the same
    checkpoint of another piece, a later one of the same piece, or neither; ``alike`` says that
    nothing is known that tells it from others of its rank: they are weighed in their order.
    """

    piece: str
    checkpoint: str
    log_g: float
    common_sd: float
    own_sd: float
    chance: float
    rank: int = 0
    waiting: int = 1
    follows: Follows = "nothing"
    alike: bool = False

    def density(self, mass_g: float, shift: float | None = None) -> float:
        """Return how likely a mass is at this checkpoint, per unit of its logarithm.

        Args:
            shift: The common part, in standard deviations; ``None`` where it is not known.
        """
        mean = self.log_g + (0.0 if shift is None else shift * self.common_sd)
        spread = self.own_sd if shift is not None else math.hypot(self.own_sd, self.common_sd)
        z = (math.log(mass_g) - mean) / spread
        return math.exp(-0.5 * z * z) / (spread * math.sqrt(2.0 * math.pi))


def expected(pieces: Iterable[PieceBook], now_ms: int) -> list[Expected]:
    """Return what the open pieces would weigh now, each at the checkpoints it waits for."""
    known = [held for held in pieces if held.is_open]
    found = [one for held in known for one in expected_of(held, known, now_ms)]
    last = max(_weighings(known), default=(-1, "", ""))
    if now_ms - last[0] <= _SESSION_MS:
        found = [
            replace(one, follows=_follows(last, (0, one.piece, one.checkpoint))) for one in found
        ]
    return _ranked(found, {held.piece.id: _weighed_ms(held) for held in known})


def habits(pieces: Iterable[PieceBook]) -> Habits:
    """Return how the pieces of a cook were weighed so far, from a guess of how that is done."""
    known = list(pieces)
    orders = _orders(known)
    turns = hits = 0
    for earlier, later in pairwise(orders):
        waiting = [piece for piece in earlier if piece in later]
        for piece in (one for one in later if one in waiting):
            if len(waiting) > 1:
                turns += 1
                hits += piece == waiting[0]
            waiting.remove(piece)
    seen: dict[Follows, float] = {"same-checkpoint": 8.0, "same-piece": 1.5, "other": 0.5}
    for before, after in pairwise(sorted(_weighings(known))):
        if after[0] - before[0] <= _SESSION_MS:
            seen[_follows(before, after)] += 1.0
    whole = sum(seen.values())
    return Habits(
        (hits + 4.5) / (turns + 6.0), seen["same-checkpoint"] / whole, seen["same-piece"] / whole
    )


def _weighings(pieces: Iterable[PieceBook]) -> list[tuple[int, str, str]]:
    return [
        (at_ms, held.piece.id, name)
        for held in pieces
        for name, (at_ms, _) in _chain(held).items()
        if name != "label"
    ]


def _follows(before: tuple[int, str, str], after: tuple[int, str, str]) -> Follows:
    if after[1] == before[1]:
        return "same-piece"
    return "same-checkpoint" if after[2] == before[2] else "other"


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
    found, left = [], 1.0
    for name, fits in _fitting(held, now_ms).items():
        if name in chain or (last is not None and PLACE[name] <= PLACE[last]):
            continue
        weighed = _how_often(name, others)
        found.append(replace(_at(held, name, last, others), chance=left * weighed * fits))
        left *= 1.0 - weighed * fits
    return [*found, *_aside(held, chain)]


def _fitting(held: PieceBook, now_ms: int) -> dict[str, float]:
    """Return what may be weighed in the stage of a piece, and how well that fits it."""
    stage, piece = held.stage, held.piece
    if stage is Stage.SMOKING and (piece.wrap == "none" or piece.wrap_at_mc == NEVER):
        return _UNWRAPPED
    if now_ms - held.stage_since_ms <= _JUST_MS and stage in _JUST_BEGUN:
        return _JUST_BEGUN[stage]
    return _NEXT.get(stage, {})


def _how_often(name: str, others: Sequence[PieceBook]) -> float:
    """Return how often a checkpoint is weighed, by those pieces of the cook that are past it."""
    past = [chain for held in others if (chain := _chain(held)) and _is_past(name, chain)]
    weighed = sum(name in chain for chain in past)
    return (2.0 * _WEIGHED[name] + weighed) / (2.0 + len(past))


def _is_past(name: str, chain: Mapping[str, tuple[int, float]]) -> bool:
    return any(PLACE[known] >= PLACE[name] for known in chain)


def _at(held: PieceBook, name: str, last: str | None, others: Sequence[PieceBook]) -> Expected:
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
    """Return the same, each with its rank among those that wait for the same checkpoint."""
    made = []
    for checkpoint in dict.fromkeys(one.checkpoint for one in found):
        same = [one for one in found if one.checkpoint == checkpoint]
        same.sort(
            key=lambda one: (weighed_ms[one.piece] < 0, weighed_ms[one.piece], natural(one.piece))
        )
        looks = [(one.log_g, one.own_sd) if weighed_ms[one.piece] < 0 else None for one in same]
        for at, one in enumerate(same):
            alike = looks[at] is not None and looks.count(looks[at]) > 1
            rank = looks[:at].count(looks[at]) if alike else at
            made.append(replace(one, rank=rank, waiting=len(same), alike=alike))
    return made
