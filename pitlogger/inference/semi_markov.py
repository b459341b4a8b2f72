"""A hidden semi-Markov filter that tracks, for each state, when it was entered.

A branch is a state with its entry time. In each step a branch stays or changes state; then each
branch is weighted by the likelihood of the observation. Branches with the same state and entry
time are merged, so without pruning this is the forward recursion of the explicit-duration model
(Yu, "Hidden semi-Markov models", Artificial Intelligence 174, 2010); a test compares it with the
sum over all sequences of states.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

LEAST = 6e-5  # a branch less likely than that is dropped
MOST_BRANCHES = 10


class Exit(NamedTuple):
    """A change of state: the next state, when it was entered, and the probability of the change."""

    stage: str
    entered_ms: int
    p: float


@dataclass(slots=True)
class Branch:
    """One hypothesis: a state and its entry time, with probability ``p``.

    ``path`` holds the states before it with their entry times; of several paths to the same state
    and entry time only the most probable is kept.
    """

    stage: str
    entered_ms: int
    p: float
    path: list[tuple[str, int]]


def advance(
    branches: Iterable[Branch],
    exits: Callable[[Branch], Sequence[Exit]],
    log_likelihood: Callable[[str, int], float],
    most: int = MOST_BRANCHES,
    least: float = LEAST,
) -> list[Branch]:
    """Return the branches one step later; their probabilities add up to one.

    Args:
        branches: The branches before the step.
        exits: The changes of state possible for a branch; what remains of its probability stays.
        log_likelihood: The log-likelihood of this step's observation, given a state and the time
            it was entered.
        most: The largest number of branches kept.
        least: The probability below which a branch is dropped.
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
            if known is None:
                path = [*branch.path, (branch.stage, branch.entered_ms)]
                found[key] = Branch(way.stage, way.entered_ms, share, path)
                best[key] = share
                continue
            known.p += share
            if share > best[key]:
                known.path = [*branch.path, (branch.stage, branch.entered_ms)]
                best[key] = share
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
