"""How many pieces, how much to buy, and with what probability it is enough."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice, repeat

from pitlogger.errors import UsageError
from pitlogger.yields.learned.servable import Learned
from pitlogger.yields.purchase.demand import Demand, Party
from pitlogger.yields.purchase.masses import Enough, PieceMass
from pitlogger.yields.purchase.sufficiency import first_k, supply

_SURE = 0.999
_BEYOND = 2  # options shown past the recommended one
_MOST = 5000
_TIMES_EXPECTED = 10  # past this many times the pieces expected, more of them change nothing


@dataclass(frozen=True, slots=True)
class PurchaseQuestion:
    """What the plan is asked.

    Attributes:
        learned: What is known of the yield.
        wanted: Servable mass asked for.
        risk: Accepted probability of running short, strictly between 0 and 1.
        typical: Mass of a piece to be bought.
        weighed: Pieces that are there, in order; then the options are the first k of them.
        fixed_g: Servable mass that is there already.
        there: Pieces that were delivered; more are bought on top of all of them.
        multiple: How many pieces are bought at a time: those of a case.
        least: The fewest pieces to buy in all.
    """

    learned: Learned
    wanted: Demand
    risk: float
    typical: PieceMass
    weighed: tuple[PieceMass, ...] = ()
    fixed_g: float = 0.0
    there: tuple[PieceMass, ...] = ()
    multiple: int = 1
    least: int = 1

    def may_buy(self, pieces: int) -> bool:
        """Return whether so many pieces can be had."""
        more = pieces - len(self.there)
        return more >= 0 and more % self.multiple == 0 and pieces >= self.least

    def pieces(self) -> Iterable[PieceMass]:
        """Return the pieces in the order they are taken."""
        return self.weighed or chain(self.there, repeat(self.typical))


@dataclass(frozen=True, slots=True)
class PurchasePlan:
    """The answer; ``recommended`` and ``purchase_g`` are ``None`` where nothing is enough."""

    options: tuple[Enough, ...]
    recommended: int | None
    purchase_g: float | None

    def chosen(self) -> Enough | None:
        """Return the recommended option."""
        return next((o for o in self.options if o.pieces == self.recommended), None)


def plan(question: PurchaseQuestion) -> PurchasePlan:
    """Return the options from one piece on, and the fewest that keep the risk.

    Raises:
        UsageError: More pieces than any kitchen cooks at once would be needed.
    """
    grid = supply(question.learned.parts)
    found = first_k(grid, question.pieces(), question.wanted, question.fixed_g)
    return _choose(found, question)


def _choose(found: Iterator[Enough], question: PurchaseQuestion) -> PurchasePlan:
    if question.least > _MOST:
        raise UsageError(f"at_least comes to {question.least} pieces, more than {_MOST}")
    options: list[Enough] = []
    recommended: int | None = None
    limit = _MOST
    for option in found:
        options.append(option)
        if option.pieces == 1:
            limit = 20 + _TIMES_EXPECTED * _expected_pieces(option, question)
            limit = max(limit, min(_MOST, question.least + question.multiple))
        keeps = option.p_enough >= 1.0 - question.risk
        if recommended is None and keeps and question.may_buy(option.pieces):
            recommended = option.pieces
        if _is_shown_enough(option, recommended) or option.pieces >= limit:
            break
    purchase_g = None
    if recommended is not None:
        purchase_g = math.fsum(p.mean_g for p in islice(question.pieces(), recommended))
    return PurchasePlan(tuple(options), recommended, purchase_g)


def _expected_pieces(first: Enough, question: PurchaseQuestion) -> int:
    """Return how many pieces like the first would do on average.

    Raises:
        UsageError: More than any kitchen cooks at once.
    """
    expected = math.ceil(question.wanted.mean_g / max(first.expected_g, 1e-9))
    if expected > _MOST:
        raise UsageError(
            f"about {expected} pieces would be needed, more than {_MOST}; "
            "check guests, portion and piece mass"
        )
    return expected


def _is_shown_enough(option: Enough, recommended: int | None) -> bool:
    if recommended is None or option.p_enough < _SURE:
        return False
    return option.pieces >= recommended + _BEYOND


# Portions that a piece is cut into. Common practice, no source; bones a rack from memory.
PORTIONS_BY_COUNT: dict[str, dict[str, int]] = {
    "quarter": {"chicken-whole": 4, "chicken-half": 2, "chicken-quarter": 1},
    "half": {"chicken-whole": 2, "chicken-half": 1},
    "thigh": {"chicken-whole": 2, "chicken-quarter": 1, "chicken-thigh": 1},
    "bone": {"pork-spareribs": 12, "pork-st-louis": 12, "pork-baby-back": 12, "beef-ribs": 3},
    "link": {"sausage": 1},
}


def plan_by_count(
    question: PurchaseQuestion, parties: Sequence[Party], show_rate: float, per_piece: int
) -> PurchasePlan:
    """Return the plan for portions that are counted, not weighed.

    Args:
        question: Its demand is shown in grams only; what decides is the count.
        parties: Guests with ``portion_g`` read as pieces on the plate each.
        show_rate: Probability that a guest comes.
        per_piece: Portions a piece gives.
    """
    grid = supply(question.learned.parts)
    needed = _count_distribution(parties, show_rate)
    found = (
        Enough(
            option.pieces,
            math.fsum(p for count, p in needed.items() if count <= option.pieces * per_piece),
            option.expected_g,
            option.sd_g,
            option.leftover_g,
        )
        for option in first_k(grid, question.pieces(), question.wanted)
    )
    return _choose(found, question)


def _count_distribution(parties: Sequence[Party], show_rate: float) -> dict[float, float]:
    """Return the probability of each number of counted portions, exactly."""
    total = {0.0: 1.0}
    for party in parties:
        n, each = party.guests, party.portion_g
        one = {k * each: _binomial(k, n, show_rate) for k in range(n + 1)}
        joined: dict[float, float] = {}
        for a, p in total.items():
            for b, q in one.items():
                if p * q > 1e-15:
                    joined[round(a + b, 6)] = joined.get(round(a + b, 6), 0.0) + p * q
        total = joined
    return total


def _binomial(k: int, n: int, p: float) -> float:
    if p >= 1.0:
        return 1.0 if k == n else 0.0
    log_ways = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
    return math.exp(log_ways + k * math.log(p) + (n - k) * math.log1p(-p))
