"""The filter against the sum over all sequences of states, with no recursion of its own."""

from __future__ import annotations

import itertools
import math
import random
from functools import partial

import pytest

from pitlogger.inference.semi_markov import Branch, Exit, advance
from pitlogger.model.cooks import Stage

STATES = (Stage.RAW, Stage.SMOKING, Stage.WRAPPED)
STEPS = 6


def leaving(seed: int, at: int, was: str, entered: int) -> dict[Stage, float]:
    draw = random.Random(f"{seed}/{at}/{was}/{entered}")
    if was == STATES[-1]:
        return {}
    after = STATES[STATES.index(Stage(was)) + 1 :]
    return {stage: draw.uniform(0.0, 0.9 / len(after)) for stage in after}


def ways(seed: int, at: int, one: Branch) -> list[Exit]:
    left = leaving(seed, at, one.stage, one.entered_ms)
    return [Exit(stage, at, p) for stage, p in left.items()]


def log_seen(seed: int, at: int, stage: str, entered: int) -> float:
    return random.Random(f"seen {seed}/{at}/{stage}/{entered}").uniform(-4.0, 0.0)


def enumerated(seed: int) -> dict[tuple[Stage, int], float]:
    """Return the chance of each state and entry after the last step, by brute force."""
    found: dict[tuple[Stage, int], float] = {}
    for states in itertools.product(STATES, repeat=STEPS):
        chance, was, entered = 1.0, Stage.RAW, 0
        for at, now in enumerate(states, start=1):
            out = leaving(seed, at, was, entered)
            if now is was:
                chance *= 1.0 - sum(out.values())
            else:
                chance *= out.get(now, 0.0)
                was, entered = now, at
            chance *= math.exp(log_seen(seed, at, was, entered))
        if chance:
            found[was, entered] = found.get((was, entered), 0.0) + chance
    whole = sum(found.values())
    return {key: chance / whole for key, chance in found.items()}


@pytest.mark.parametrize("seed", range(20))
def test_the_filter_equals_the_sum_over_all_sequences(seed: int) -> None:
    branches = [Branch(Stage.RAW, 0, 1.0, [])]
    for at in range(1, STEPS + 1):
        branches = advance(
            branches, partial(ways, seed, at), partial(log_seen, seed, at), most=10_000, least=0.0
        )
    found = {(one.stage, one.entered_ms): one.p for one in branches}
    assert found == pytest.approx(enumerated(seed), rel=1e-9)


def test_a_branch_keeps_the_likeliest_way_to_it() -> None:
    branches = [
        Branch(Stage.SMOKING, 1, 0.7, [(Stage.RAW, 0)]),
        Branch(Stage.SMOKING, 2, 0.3, [(Stage.RAW, 0)]),
    ]
    after = advance(branches, lambda _: [Exit(Stage.WRAPPED, 5, 0.5)], lambda *_: 0.0)
    wrapped = next(one for one in after if one.stage is Stage.WRAPPED)
    assert wrapped.p == pytest.approx(0.5)
    assert (Stage.SMOKING, 1) in wrapped.path
