"""What the best that can be done stands at where something changed and nobody said so.

    python -m tests.benchmarks.risk_bound      the table, as in docs/risk.md

Somebody knows a kitchen exactly: its mean, its days, its pieces, and how much another supplier
moves it. All that is unknown is whether one came with the last cook; before that cook the chance
of it was ``chance``. The exact posterior is then two normal distributions weighed by Bayes'
theorem, and so is what the next cook may give. How often does the next cook fall under what that
promises with 95 %, where it did change, and where it did not?

Seeded: twice the same. Variances are in units of a piece's within its kitchen; the change and the
share of the day are those of the scenarios of ``tests/benchmarks/risk.py``.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

CHANCES = (0.02, 0.04, 0.10, 0.20, 0.33, 0.50)
STATED = 0.05
# Two suppliers 0.03 apart each of 0.83 at the board: 0.0424 * 0.64 against 0.035 * 0.83.
CHANGE = (0.0424 * 0.64 / (0.035 * 0.83)) ** 2


def realised(chance: float, *, changed: bool, kitchens: int = 200_000, seed: int = 1) -> float:
    """Return how often the next cook falls short of what was promised at a risk of 5 %."""
    rng = np.random.default_rng([seed, changed])
    day = rng.uniform(0.1, 0.75, kitchens)
    seen = day + (1.0 - day) / rng.choice([1, 3], kitchens)
    following = day + (1.0 - day) / rng.integers(2, 21, kitchens)
    moved = rng.normal(0.0, np.sqrt(CHANGE), kitchens) if changed else np.zeros(kitchens)
    last = moved + rng.normal(0.0, np.sqrt(seen))
    comes = moved + rng.normal(0.0, np.sqrt(following))
    as_before = (1.0 - chance) * norm.pdf(last, 0.0, np.sqrt(seen))
    other = chance * norm.pdf(last, 0.0, np.sqrt(seen + CHANGE))
    weight = other / (as_before + other)
    learned = CHANGE / (CHANGE + seen)
    under = (1.0 - weight) * norm.cdf(comes, 0.0, np.sqrt(following)) + weight * norm.cdf(
        comes, learned * last, np.sqrt(following + learned * seen)
    )
    return float(np.mean(under < STATED))


def table() -> str:
    """Return the rows as they stand in the docs."""
    rows = [
        f"| {chance:.0%} | {100 * realised(chance, changed=True):.1f} "
        f"| {100 * realised(chance, changed=False):.1f} |"
        for chance in CHANCES
    ]
    heads = "| chance of a change beforehand | it changed, 5 % | it did not, 5 % |"
    return "\n".join([heads, "|---|---|---|", *rows])


if __name__ == "__main__":
    print(table())
