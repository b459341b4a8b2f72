"""Learning a cut's servable yield from past pieces.

The scale is the logit of servable over purchased mass. A cut starts from its published
prior, moved by what the kitchen's other cuts of the same family did, and is then updated
by its own cooks. Nothing is shared between families.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from pitlogger.errors import UsageError
from pitlogger.model.cooks import CUTS
from pitlogger.yields.learned.belief import (
    FLAT,
    Belief,
    StudentT,
    expit,
    logit,
    mixed_quantile,
    prior_belief,
)
from pitlogger.yields.learned.factors import Effect, given_levels, less_sure
from pitlogger.yields.learned.kitchen import Part, believed, trust
from pitlogger.yields.learned.step_priors import usual
from pitlogger.yields.ledger import servable
from pitlogger.yields.lineage import LineageMasses, gather, is_whole
from pitlogger.yields.purchase.cut_priors import WITHIN_DF, CutPrior, cut_prior
from pitlogger.yields.records import PastPiece

PriorKind = Literal["cut", "flat"]
# Half of the variance between kitchens is taken to be common to a family's cuts: judgement.
_COMMON_SHARE = 0.5
_ANY: Mapping[str, str] = {}
_PUBLISHED: Mapping[str, CutPrior] = {}


@dataclass(frozen=True, slots=True)
class Observed:
    """One whole piece and its servable mass, grams."""

    record: PastPiece
    servable_g: float

    def share(self, start: str = "purchased") -> float | None:
        """Return servable over the mass at a checkpoint; ``None`` where it is no share.

        A ratio of 1 or more is no yield; the ledger doubts it and it is left out here.
        """
        mass = self.record.masses.get(start)
        if mass is None or not 0.0 < self.servable_g < mass.value:
            return None
        return self.servable_g / mass.value


@dataclass(frozen=True, slots=True)
class Learned:
    """What is known of the next cook of a cut.

    Attributes:
        cut: The cut asked for.
        n: Pieces of this cut it rests on.
        parts: Beliefs on the logit of servable yield, weighed by how likely each is.
        prior: Where it started.
        source: Source of the prior, or how it was started.
        firm: Whose other sites the prior was learned from, if not published.
        effects: What the factors asked for did to it.
        wild: Cooks so far from the others that they count for less than half.
    """

    cut: str
    n: int
    parts: tuple[Part, ...]
    prior: PriorKind
    source: str
    effects: tuple[Effect, ...] = ()
    wild: tuple[str, ...] = ()
    firm: str = ""

    @property
    def day_share(self) -> float:
        """Expected share of the variance that pieces of one cook have in common."""
        return math.fsum(part.weight * part.day_share for part in self.parts)

    def quantile(self, p: float) -> float:
        """Return the servable yield that the next cook stays below with probability ``p``."""
        predicted: dict[StudentT, float] = {}
        for part in self.parts:
            following = part.belief.predictive()
            predicted[following] = predicted.get(following, 0.0) + part.weight
        return expit(mixed_quantile(p, predicted))


def whole_pieces(history: Iterable[PastPiece]) -> Iterator[LineageMasses]:
    """Yield the pieces of past cooks that stand for themselves.

    A split piece comes once, as its parent; merged pieces come once, together.
    """
    cooks: dict[str, list[PastPiece]] = {}
    for piece in history:
        cooks.setdefault(piece.cook, []).append(piece)
    for cook in cooks.values():
        yield from (gather(piece, cook) for piece in cook if is_whole(piece, cook))


def observations(history: Iterable[PastPiece]) -> list[Observed]:
    """Return the whole pieces of past cooks that have a servable mass."""
    return [
        Observed(whole.record, served_g.value)
        for whole in whole_pieces(history)
        if whole.record.teaches and (served_g := servable(whole.record, whole.seam)) is not None
    ]


def learn(
    cut: str,
    observed: Sequence[Observed],
    prior: PriorKind = "cut",
    start: str = "purchased",
    asked: Mapping[str, str] = _ANY,
    priors: Mapping[str, CutPrior] = _PUBLISHED,
) -> Learned:
    """Return what is known of the next cook of a cut.

    Args:
        cut: A known cut.
        observed: From ``observations``; other families do no harm.
        prior: ``flat`` for own cooks alone.
        start: Checkpoint the share is of; another than ``purchased`` re-plans in mid-cook.
        asked: Factors of the next cook (``factors.FACTORS``) and their values; a value never
            seen where others were widens the belief.
        priors: By cut, in place of the published one.

    Raises:
        UsageError: A flat prior and fewer than two pieces, or two that do not differ.
    """
    own = [
        (one.record, logit(share))
        for one in observed
        if one.record.cut == cut and (share := one.share(start)) is not None
    ]
    if all(record.date for record, _ in own):
        own.sort(key=lambda one: one[0].date)  # old cooks fade
    begin, source, firm = _begin(cut, observed, prior, start, priors)
    records = [record for record, _ in own]
    values, effects = given_levels(records, [value for _, value in own], asked, begin)
    names, cooks = _by_cook(zip((record.cook for record in records), values, strict=True))
    if prior == "flat":
        parts, trusts = _own_alone(cut, values, cooks), [1.0] * len(cooks)
    else:
        trusts = trust(cooks, begin)
        parts = believed(cooks, begin, trusts)
    wild = tuple(name for name, share in zip(names, trusts, strict=True) if share < 0.5)
    parts = tuple(replace(part, belief=less_sure(part.belief, effects)) for part in parts)
    return Learned(cut, len(values), parts, prior, source, effects, wild, firm)


def _own_alone(
    cut: str, values: Sequence[float], cooks: Sequence[Sequence[float]]
) -> tuple[Part, ...]:
    """Return the belief of the textbook from own cooks alone, without any prior."""
    share = _day_share(cooks)
    worth = math.fsum(len(cook) / (1.0 + (len(cook) - 1) * share) for cook in cooks)
    belief = FLAT.updated(values, worth)
    if not belief.is_proper:
        raise UsageError(
            f"a flat prior needs two pieces of {cut} with different yields; the history has "
            f"{len(values)}. Use --prior cut, or log more cooks"
        )
    return (Part(1.0, belief, share),)


def _begin(
    cut: str, observed: Sequence[Observed], prior: PriorKind, start: str,
    priors: Mapping[str, CutPrior],
) -> tuple[Belief, str, str]:  # fmt: skip
    """Return the belief before the cut's own cooks, its source, and whose other sites it is of."""
    if prior == "flat":
        return FLAT, "none: own cooks alone", ""
    if start == "purchased":
        known = priors.get(cut) or cut_prior(cut)
        return _moved_by_family(known, observed, priors), known.source, known.firm
    return _from_here(start), "common practice, no source", ""


def _from_here(start: str) -> Belief:
    """Return a prior for what is left of a cook, from the usual ratios of its steps."""
    rest = usual(start, "carved")
    spread = rest.log_sd / (1.0 - min(rest.ratio, 0.95))
    return prior_belief(logit(min(rest.ratio, 0.95)), spread, spread / 2.0, WITHIN_DF)


def _moved_by_family(
    known: CutPrior, observed: Sequence[Observed], priors: Mapping[str, CutPrior]
) -> Belief:
    """Return the cut's prior, moved by how the family's other cuts differ from theirs."""
    family = CUTS[known.cut]
    groups: dict[str, list[float]] = {}
    for one in observed:
        if one.record.family != family or one.record.cut == known.cut or family == "other":
            continue
        if (share := one.share()) is not None:
            usual_of = priors.get(one.record.cut) or cut_prior(one.record.cut)
            residual = logit(share) - usual_of.logit
            groups.setdefault(one.record.cut, []).append(residual)
    common = _COMMON_SHARE * known.between**2
    own = known.between**2 - common
    precision, weighted = 1.0 / common, 0.0
    for residuals in groups.values():
        variance = own + known.within**2 / len(residuals)
        precision += 1.0 / variance
        weighted += math.fsum(residuals) / len(residuals) / variance
    return prior_belief(
        known.logit + weighted / precision,
        math.sqrt(own + 1.0 / precision),
        known.within,
        known.df,
    )


def _by_cook(own: Iterable[tuple[str, float]]) -> tuple[list[str], list[list[float]]]:
    cooks: dict[str, list[float]] = {}
    for cook, value in own:
        cooks.setdefault(cook, []).append(value)
    return list(cooks), list(cooks.values())


def _day_share(cooks: Sequence[Sequence[float]]) -> float:
    """Return the share of variance between cooks, from the analysis of variance.

    Zero unless at least three cooks had several pieces: it cannot be told from fewer.
    """
    if sum(len(cook) > 1 for cook in cooks) < 3:
        return 0.0
    n, j = sum(map(len, cooks)), len(cooks)
    grand = math.fsum(map(math.fsum, cooks)) / n
    means = [math.fsum(cook) / len(cook) for cook in cooks]
    between = sum(len(c) * (m - grand) ** 2 for c, m in zip(cooks, means, strict=True)) / (j - 1)
    within = sum((v - m) ** 2 for c, m in zip(cooks, means, strict=True) for v in c) / (n - j)
    size = (n - sum(len(c) ** 2 for c in cooks) / n) / (j - 1)
    of_day = max(0.0, (between - within) / size)
    return min(0.95, of_day / (of_day + within)) if of_day + within > 0 else 0.0
