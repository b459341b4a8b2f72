"""A hidden semi-Markov filter that keeps, for each state, when it was entered.

A branch is a state with its entry. In a step each branch stays or leaves, then every branch is
weighed by how well it explains what was seen. Branches that agree in state and entry are added
up, so with nothing pruned this is the forward recursion of the explicit-duration model (Yu,
"Hidden semi-Markov models", Artificial Intelligence 174, 2010); a test compares it with the sum
over all sequences of states.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

LEAST = 3e-5  # a branch less likely than that is dropped
MOST_BRANCHES = 14


class Exit(NamedTuple):
    """A way out of a branch: the state that follows, when it was entered, and how likely."""

    stage: str
    entered_ms: int
    p: float


@dataclass(slots=True)
class Branch:
    """One explanation; ``p`` is its chance, ``path`` its states before with their entries.

    Of paths that lead to the same state and entry the likeliest is kept.
    """

    stage: str
    entered_ms: int
    p: float
    path: list[tuple[str, int]]

    def entry(self, stage: str) -> int | None:
        """Return when it entered a state, ``None`` if it never did."""
        if self.stage == stage:
            return self.entered_ms
        return next((at_ms for one, at_ms in self.path if one == stage), None)


def advance(
    branches: Iterable[Branch],
    exits: Callable[[Branch], Sequence[Exit]],
    log_likelihood: Callable[[str, int], float],
    most: int = MOST_BRANCHES,
    least: float = LEAST,
) -> list[Branch]:
    """Return the branches one step later, their chances adding up to one.

    Args:
        exits: Ways out of a branch in this step; what is left of one stays.
        log_likelihood: Of what was seen in this step, in a state entered at a time.
        most: How many branches are kept.
        least: The chance below which one is dropped.
    """
    found: dict[tuple[str, int], Branch] = {}
    best: dict[tuple[str, int], float] = {}
    for branch in branches:
        stays = 1.0
        for way in exits(branch):
            stays -= way.p
            share = branch.p * way.p
            key = (way.stage, way.entered_ms)
            known = found.get(key)
            path = [*branch.path, (branch.stage, branch.entered_ms)]
            if known is None:
                found[key] = Branch(way.stage, way.entered_ms, share, path)
                best[key] = share
            else:
                known.p += share
                if share > best[key]:
                    known.path, best[key] = path, share
        key = (branch.stage, branch.entered_ms)
        share = branch.p * max(stays, 0.0)
        known = found.get(key)
        if known is None:
            found[key] = Branch(*key, share, branch.path)
            best[key] = share
        else:
            known.p += share
            if share > best[key]:
                known.path, best[key] = branch.path, share
    return _weighed(list(found.values()), log_likelihood, most, least)


def _weighed(
    branches: list[Branch], log_likelihood: Callable[[str, int], float], most: int, least: float
) -> list[Branch]:
    logs = [log_likelihood(branch.stage, branch.entered_ms) for branch in branches]
    top = max(logs)
    for branch, log in zip(branches, logs, strict=True):
        branch.p *= math.exp(log - top)
    whole = sum(branch.p for branch in branches)
    kept = [branch for branch in branches if branch.p >= least * whole]
    if len(kept) > most:
        kept.sort(key=lambda branch: -branch.p)
        del kept[most:]
    whole = sum(branch.p for branch in kept)
    for branch in kept:
        branch.p /= whole
    return kept
