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
from pitlogger.yields.causes import CHAIN, PLACE, cause_of
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.plausible import bought_g

_OWN = 0.28  # of a step's spread, as standard deviation; the rest is common
_LABEL_SD, _BOUGHT_SD = 0.012, 0.3
_JUST_MS = 20 * 60_000  # so long after a stage began its first weighing may still come
# How often a checkpoint is weighed at all, where nothing was heard of it in this cook.
_WEIGHED = {
    "purchased": 0.985, "thawed": 0.6, "brined": 0.6, "trimmed": 0.95, "seasoned": 0.3,
    "on-pit": 0.02, "at-wrap": 0.5, "off-pit": 0.85, "rested": 0.45, "out-of-hold": 0.3,
    "carved": 0.85, "served": 0.3,
}  # fmt: skip
_ORDERLY = 0.6  # so much of a session is in the order of the one before, or it was in none
_MOSTLY = 0.985  # a weighing is left out now and then, whatever was done so far
_TAIL, _TAIL_SD = 0.05, 2.5  # of pieces are further off than their spread says
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
    Stage.WRAPPED: {"at-wrap": 1.0, "off-pit": 0.005},
    Stage.RESTING: {"off-pit": 1.0, "rested": 0.1, "carved": 0.05},
}
_UNWRAPPED = {"off-pit": 1.0}
# What was weighed just before a stage was marked.
_MARKED_AFTER: dict[Stage, dict[str, float]] = {
    **_JUST_BEGUN,
    Stage.TRIMMED: {"trimmed": 1.0, "purchased": 0.1},
    Stage.SEASONED: {"seasoned": 1.0, "trimmed": 0.2},
    Stage.CARVED: {"carved": 1.0, "rested": 0.1},
}
_MARKED_WITHIN_MS = 5 * 60_000
# A step ends no sooner than so many minutes after it began, and keeps no more than so much.
_LEAST_MIN = {
    "thaw": 30.0, "brine": 20.0, "trim": 2.0, "rub": 2.0, "smoke": 20.0, "cook": 40.0,
    "wrapped": 10.0, "uncovered": 2.0, "rest": 4.0, "hold": 4.0, "carve": 2.0,
}  # fmt: skip
_SOONER = 0.03  # how likely all the same
_MOST_KEPT = {"brine": 1.3, "rub": 1.06, "sauce": 1.3, "standing": 1.03}  # rubbed on the way
_ROUNDED = 1.004  # scales and drips
# By-products of the part they are of: their usual share of it, spread of its logarithm.
_ASIDE = {"drippings": ("off-pit", 0.05, 0.7), "bone": ("carved", 0.12, 0.5)}
_ASIDE_CHANCE = 0.2


Chain = dict[str, tuple[int, float]]  # time and net grams by checkpoint
Follows = Literal["nothing", "same-checkpoint", "same-piece", "other"]


_ROUND_MS, _SLOW = 270_000, 0.3  # one piece is weighed soon after the other, mostly
# How a weighing follows on the last one, by how that followed on the one before: all pieces at one
# checkpoint, or each piece twice and then the next.
_USUALLY: Mapping[Follows, Mapping[Follows, float]] = {
    "nothing": {"same-checkpoint": 3.0, "same-piece": 1.0, "other": 0.1},
    "same-checkpoint": {"same-checkpoint": 4.0, "same-piece": 0.2, "other": 0.2},
    "same-piece": {"same-checkpoint": 0.2, "same-piece": 0.3, "other": 1.5},
    "other": {"same-checkpoint": 0.5, "same-piece": 1.5, "other": 0.3},
}


@dataclass(frozen=True, slots=True)
class Habits:
    """How the pieces of a cook are weighed, each as a chance.

    ``orderly``: they come mostly in ``order``, that of last time. Within half an hour of a
    weighing the next is of the same checkpoint, or of the same piece.
    """

    orderly: float
    same_checkpoint: float
    same_piece: float
    order: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Expected:
    """One piece at one checkpoint; masses as natural logarithms of grams.

    ``follows`` is how it follows on the last weighing: the same checkpoint of another piece, a
    later one of the same piece, or neither; ``alike`` says that nothing is known that tells it
    from others: they are weighed in their order. It weighs no more than ``most_g``.
    """

    piece: str
    checkpoint: str
    log_g: float
    common_sd: float
    own_sd: float
    chance: float
    follows: Follows = "nothing"
    alike: bool = False
    most_g: float = math.inf

    def density(self, mass_g: float, shift: float | None = None) -> float:
        """Return how likely a mass is at this checkpoint, per unit of its logarithm.

        Args:
            shift: The common part, in standard deviations; ``None`` where it is not known.
        """
        if mass_g > self.most_g:
            return 0.0
        mean = self.log_g + (0.0 if shift is None else shift * self.common_sd)
        spread = self.own_sd if shift is not None else math.hypot(self.own_sd, self.common_sd)
        z = (math.log(mass_g) - mean) / spread
        near = (1.0 - _TAIL) * math.exp(-0.5 * z * z)
        far = _TAIL / _TAIL_SD * math.exp(-0.5 * (z / _TAIL_SD) ** 2)
        return (near + far) / (spread * math.sqrt(2.0 * math.pi))


def expected(pieces: Iterable[PieceBook], now_ms: int) -> list[Expected]:
    """Return what the open pieces would weigh now, each at the checkpoints it waits for."""
    known = [held for held in pieces if held.is_open]
    chains = {held.piece.id: _chain(held) for held in known}
    found = [one for held in known for one in _expected_of(held, chains, now_ms)]
    last = max((one for one in _weighings(known) if one[0] < now_ms), default=(-1, "", ""))
    if now_ms - last[0] <= _SESSION_MS:
        found = [
            replace(one, follows=_follows(last, (0, one.piece, one.checkpoint))) for one in found
        ]
    return _told_apart(found, {name for name, chain in chains.items() if not chain})


def expected_at(
    pieces: Iterable[PieceBook], times_ms: Sequence[int]
) -> tuple[list[Expected], list[list[float]]]:
    """Return what the open pieces would weigh at some times, and each one's chance at each.

    Marks that came soon after a time count: who wraps weighs first and marks then.
    """
    known = list(pieces)
    found: dict[tuple[str, str], Expected] = {}
    chances: list[dict[tuple[str, str], float]] = []
    for t_ms in times_ms:
        waiting = {(one.piece, one.checkpoint): one for one in expected(known, t_ms)}
        found = waiting | found
        chances.append({key: one.chance for key, one in waiting.items()})
    return list(found.values()), [[one.get(key, 0.0) for key in found] for one in chances]


def habits(pieces: Iterable[PieceBook], now_ms: int) -> Habits:
    """Return how the pieces of a cook were weighed so far, from a guess of how that is done."""
    known = list(pieces)
    order = sorted((held.piece.id for held in known), key=natural)
    sessions = _orders(known)
    orderly, times = (4.0, 5.0) if sessions else (1.0, 4.0)  # as a cook file lists them: seldom
    for at, seen in enumerate(sessions):
        turns = [order.index(piece) for piece in seen]
        if len(seen) > 2 and at > 0:
            times += 1.0
            orderly += sum(a < b for a, b in pairwise(turns)) / (len(turns) - 1) >= _ORDERLY
        rest = iter(seen)  # those left out keep their place
        order = [next(rest) if piece in seen else piece for piece in order]
    weighings = sorted(one for one in _weighings(known) if one[0] < now_ms)
    follows = dict(_followed(weighings))
    if weighings and now_ms - weighings[-1][0] > _ROUND_MS:
        follows["same-checkpoint"] *= _SLOW
    whole = sum(follows.values())
    return Habits(
        orderly / times,
        follows["same-checkpoint"] / whole,
        follows["same-piece"] / whole,
        tuple(order),
    )


def _followed(weighings: Sequence[tuple[int, str, str]]) -> Mapping[Follows, float]:
    """Return how often a weighing follows so on one that followed as the last one did."""
    counts = {before: dict(usual) for before, usual in _USUALLY.items()}
    kind: Follows = "nothing"
    for before, after in pairwise(weighings):
        if after[0] - before[0] > _SESSION_MS:
            kind = "nothing"
            continue
        now = _follows(before, after)
        counts[kind][now] += 1.0
        kind = now
    return counts[kind]


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


def _chain(held: PieceBook) -> Chain:
    """Return time and net grams by checkpoint, in the order of the chain."""
    found = {}
    for one in held.weighings:
        body = one.weighed
        if body.checkpoint in PLACE and body.net_mg > 0:
            found[body.checkpoint] = (body.at_ms, body.net_mg / 1000)
    return {name: found[name] for name in CHAIN if name in found}


def expected_of(held: PieceBook, others: Sequence[PieceBook], now_ms: int) -> list[Expected]:
    """Return what one piece would weigh now, at each checkpoint it waits for."""
    return _expected_of(held, {one.piece.id: _chain(one) for one in others}, now_ms)


def _expected_of(held: PieceBook, chains: Mapping[str, Chain], now_ms: int) -> list[Expected]:
    chain = chains[held.piece.id]
    last = _last(chain)
    found, left = [], 1.0
    for name, fits in _fitting(held, now_ms).items():
        if name in chain or (last is not None and PLACE[name] <= PLACE[last]):
            continue
        weighed = _how_often(name, chains.values())
        soon = 1.0 if last is None else _so_soon(last, name, now_ms - chain[last][0])
        found.append(replace(_at(held, name, last, chains), chance=left * weighed * fits * soon))
        left *= 1.0 - weighed * fits * soon
    return [*found, *_aside(held, chain)]


def _last(chain: Chain) -> str | None:
    """Return the last checkpoint weighed; a label alone was weighed by nobody here."""
    return None if chain.keys() <= {"label"} else next(reversed(chain), None)


def expected_as(pieces: Iterable[PieceBook], name: str, only: str | None) -> list[Expected]:
    """Return what the open pieces would weigh at one checkpoint, if they were not weighed there.

    Args:
        only: The one piece that can be meant, if it is known.
    """
    known = [held for held in pieces if held.is_open]
    chains = {held.piece.id: _chain(held) for held in known}
    return [
        _at(held, name, last, chains)
        for held in known
        if only in (None, held.piece.id)
        and ((last := _last(chains[held.piece.id])) is None or PLACE[last] < PLACE[name])
    ]


def _so_soon(last: str, name: str, passed_ms: int) -> float:
    """Return how likely a step took no longer than it did."""
    least_min = sum(_LEAST_MIN.get(cause, 0.0) for cause in cause_of(last, name).split("+"))
    return 1.0 if passed_ms >= least_min * 60_000 else _SOONER


def _fitting(held: PieceBook, now_ms: int) -> Mapping[str, float]:
    """Return what may be weighed in the stage of a piece, and how well that fits it."""
    stage, since_ms, piece = Stage.RAW, held.added_ms, held.piece
    for mark in held.marks:
        if now_ms < mark.at_ms <= now_ms + _MARKED_WITHIN_MS and mark.stage in _MARKED_AFTER:
            return _MARKED_AFTER[mark.stage]
        if mark.at_ms <= now_ms:
            stage, since_ms = mark.stage, mark.at_ms
    if stage is Stage.SMOKING and (piece.wrap == "none" or piece.wrap_at_mc == NEVER):
        return _UNWRAPPED
    if now_ms - since_ms <= _JUST_MS and stage in _JUST_BEGUN:
        return _JUST_BEGUN[stage]
    return _NEXT.get(stage, {})


def _how_often(name: str, chains: Iterable[Chain]) -> float:
    """Return how often a checkpoint is weighed, by those pieces of the cook that are past it."""
    past = [chain for chain in chains if any(PLACE[known] >= PLACE[name] for known in chain)]
    weighed = sum(name in chain for chain in past)
    return min(_MOSTLY, (2.0 * _WEIGHED[name] + weighed) / (2.0 + len(past)))


def _at(held: PieceBook, name: str, last: str | None, chains: Mapping[str, Chain]) -> Expected:
    piece, chain = held.piece, chains[held.piece.id]
    if last is None:
        label = chain.get("label")
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
        math.log(other[name][1] / other[last][1]) - step.log_mean
        for other_id, other in chains.items()
        if other_id != piece.id and {last, name} <= other.keys()
    ]
    shift, common = _learned(seen, common, own)
    last_g = chain[last][1]
    kept = math.prod(_MOST_KEPT.get(cause, 1.0) for cause in cause_of(last, name).split("+"))
    return Expected(
        piece.id, name, math.log(last_g) + step.log_mean + shift, common, own, 1.0,
        most_g=last_g * kept * _ROUNDED,
    )  # fmt: skip


def _learned(seen: Sequence[float], common: float, own: float) -> tuple[float, float]:
    """Return the common part after some pieces told of it, and its spread left."""
    if not seen:
        return 0.0, common
    weight = len(seen) * common**2 / (len(seen) * common**2 + own**2)
    return weight * sum(seen) / len(seen), common * math.sqrt(1.0 - weight)


def _aside(held: PieceBook, chain: Chain) -> list[Expected]:
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


def _told_apart(found: Sequence[Expected], unweighed: set[str]) -> list[Expected]:
    """Return the same, each saying whether nothing tells it from another piece."""
    looks = [(one.checkpoint, one.log_g, one.own_sd) for one in found]
    return [
        replace(one, alike=one.piece in unweighed and looks.count(look) > 1)
        for one, look in zip(found, looks, strict=True)
    ]
