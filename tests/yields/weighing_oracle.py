"""What the best possible judge could make of the simulated kitchens: exact Bayes, one table.

    python -m tests.yields.weighing_oracle 2000

The oracle is told all that no product can know: the true shares, spreads, habits and slips of
``kitchens.py``, which loads are no piece, what lies under them, where a session begins and ends,
and what every earlier session truly was. Left to it is what is open: which piece each load of a
session is and which step that is, summed exactly over orders (as before, neighbours swapped,
any), pieces left out, steps and the common share on a grid. It shares no code with the product.

It keeps what is surer than a threshold once the session is over and asks about the load it
knows least, until all is sure; an answer is always given and true.
"""

from __future__ import annotations

import itertools
import math
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from tests.yields.kitchens import (
    AS_BEFORE,
    CUTS,
    LABEL_SD,
    NEIGHBOURS_SWAPPED,
    SKIPPED,
    STEPS,
    Kitchen,
    Weighing,
    drawn,
)  # fmt: skip

Table = npt.NDArray[np.float64]
GRID = 33
BEFORE_FIRE, AFTER_REST = ("trimmed", "seasoned"), ("rested", "carved")
THRESHOLDS = (0.8, 0.9, 0.95, 0.98, 0.99, 0.995)


def sessions(kitchen: Kitchen) -> Iterator[list[Weighing]]:
    """Yield the weighings that are of one session."""
    for _, found in itertools.groupby(kitchen.weighings, key=lambda one: one.session):
        yield list(found)


def _orders(order: list[str]) -> list[tuple[float, list[str]]]:
    found = [(AS_BEFORE if len(order) > 1 else AS_BEFORE + NEIGHBOURS_SWAPPED, order)]
    for at in range(len(order) - 1):
        other = list(order)
        other[at : at + 2] = reversed(other[at : at + 2])
        found.append((NEIGHBOURS_SWAPPED / (len(order) - 1), other))
    return found


def _candidates(step: str) -> list[tuple[str, float]]:
    """Return what a session may be of, given the marks of the pit, with its chance.

    Marks of the pit are there to 97 %: taken for surely there. The others are not used.
    """
    if step in BEFORE_FIRE:
        names = BEFORE_FIRE
    elif step in AFTER_REST:
        names = AFTER_REST
    else:
        return [(step, 1.0)]
    known = {one.name: one.weighed for one in STEPS}
    first = known[names[0]]
    return [(names[0], first), (names[1], (1.0 - first) * known[names[1]])]


class Known:
    """What is known of a kitchen's pieces before a session: mass, step and order."""

    def __init__(self, kitchen: Kitchen) -> None:
        self.kitchen = kitchen
        self.last: dict[str, tuple[str, float]] = {}  # step and mass of its last weighing
        self.order = kitchen.names
        self.done: set[str] = set()

    def take(self, session: list[Weighing]) -> None:
        seen = list(dict.fromkeys(one.piece for one in session))
        if len(seen) == len(self.order):
            self.order = seen
        else:  # those left out keep their place
            rest = iter(seen)
            self.order = [next(rest) if name in seen else name for name in self.order]
        for one in session:
            self.last[one.piece] = (one.step, one.shown_g)
            self.done.add(one.step)

    def densities(self, shown_g: list[float], step: str) -> Table:
        """Return log densities, shape (grid, loads, pieces), on a grid of the common share."""
        names = self.kitchen.names
        table = np.zeros((GRID, len(shown_g), len(names)))
        loads = np.log(np.array(shown_g))
        for at, name in enumerate(names):
            mean, own, least, most = self._expected(name, step)
            for row, share in enumerate(np.linspace(least, most, GRID)):
                z = (loads - mean - share) / own
                table[row, :, at] = -0.5 * z * z - math.log(own)
        return table

    def _expected(self, name: str, step: str) -> tuple[float, float, float, float]:
        rounding = 1.5 / (1000 * CUTS[self.kitchen.cut])
        if step == "purchased":
            label_g = self.kitchen.label_g.get(name)
            if label_g is None:
                return math.log(1000 * CUTS[self.kitchen.cut]), 0.12, 0.0, 0.0
            return math.log(label_g), math.hypot(LABEL_SD, rounding), 0.0, 0.0
        before, mass_g = self.last[name]
        names = ["purchased", *(one.name for one in STEPS)]
        between = STEPS[names.index(before) : names.index(step)]
        own = math.sqrt(sum(one.own_sd**2 for one in between) + 2 * rounding**2)
        least = sum(math.log(one.least) for one in between)
        most = sum(math.log(one.most) for one in between)
        return math.log(mass_g), own, least, most


def posterior(known: Known, session: list[Weighing], told: dict[int, str], is_step_known: bool
              ) -> dict[tuple[int, str, str], float]:  # fmt: skip
    """Return the chance of each (load, piece, step), some loads' pieces being told."""
    names, shown = known.kitchen.names, [one.shown_g for one in session]
    at = {name: place for place, name in enumerate(names)}
    steps = _candidates(session[0].step)
    if is_step_known or session[0].step == "purchased":
        steps = [(session[0].step, 1.0)]
    sums: defaultdict[tuple[int, str, str], float] = defaultdict(float)
    whole = 0.0
    for step, prior in steps:
        if step in known.done or step in {one[0] for one in known.last.values()}:
            continue
        logs = known.densities(shown, step)
        for row, name in told.items():
            logs[:, row, [place for other, place in at.items() if other != name]] = -1e9
        top = logs.max(axis=2).sum(axis=1).max()
        fits = np.exp(logs - logs.max(axis=2, keepdims=True))
        scale = np.exp(logs.max(axis=2).sum(axis=1) - top) * prior / GRID
        scale = scale * math.exp(min(700.0, top))
        k, n = len(session), len(names)
        skips = SKIPPED ** (n - k)
        alike = step == "purchased" and not known.kitchen.label_g
        shuffled = 1.0 - AS_BEFORE - NEIGHBOURS_SWAPPED
        orders = [(1.0, names)] if alike else _orders(known.order)
        if step == "purchased" and not alike:
            orders, shuffled = [], 1.0
        for chance, order in orders:
            for kept in itertools.combinations(order, k):
                columns = [at[name] for name in kept]
                weight = float((fits[:, range(k), columns].prod(axis=1) * scale).sum())
                weight *= chance * skips
                whole += weight
                for row, name in enumerate(kept):
                    sums[row, name, step] += weight
        if alike:
            continue
        ways = math.perm(n, k)
        per, total = _any_order(fits)
        weight = shuffled * skips * math.comb(n, k) / ways
        whole += weight * float((total * scale).sum())
        each = (per * scale[:, None, None]).sum(axis=0) * weight
        for row, name in itertools.product(range(k), names):
            sums[row, name, step] += float(each[row, at[name]])
    return {key: value / whole for key, value in sums.items()} if whole > 0 else {}


def _any_order(fits: Table) -> tuple[Table, Table]:
    """Return for each load and piece the sum over all matchings that hold it, and the sum."""
    grid, k, n = fits.shape
    sets = np.arange(1 << n)
    free = [sets[sets >> at & 1 == 0] for at in range(n)]
    before = [np.zeros((grid, 1 << n))]
    before[0][:, 0] = 1.0
    for row in range(k):
        here = np.zeros((grid, 1 << n))
        for at in range(n):
            here[:, free[at] | 1 << at] += before[-1][:, free[at]] * fits[:, row, at, None]
        before.append(here)
    after = np.ones((grid, 1 << n))
    per = np.zeros((grid, k, n))
    for row in range(k - 1, -1, -1):
        here = np.zeros((grid, 1 << n))
        for at in range(n):
            ahead = after[:, free[at] | 1 << at] * fits[:, row, at, None]
            per[:, row, at] = (before[row][:, free[at]] * ahead).sum(axis=1)
            here[:, free[at]] += ahead
        after = here
    return per, before[-1].sum(axis=1)


def judged(known: Known, session: list[Weighing], sure: float) -> Counter[str]:
    """Keep what is sure and ask about the rest; return how many were what."""
    told: dict[int, str] = {}
    found: Counter[str] = Counter(loads=len(session))
    is_step_known = False
    while True:
        chances = posterior(known, session, told, is_step_known)
        best = {}
        for row in range(len(session)):
            options = [(p, name, step) for (at, name, step), p in chances.items() if at == row]
            best[row] = sorted(options, reverse=True)[:2]
        open_rows = [row for row in best if row not in told and best[row][0][0] < sure]
        if not told:  # one question that is answered for each load settles the session
            found["sessions asked"] += bool(open_rows)
            found["wrong where none asked"] += not open_rows and sum(
                best[row][0][1:] != (one.piece, one.step) for row, one in enumerate(session)
            )
        if not open_rows:
            break
        row = min(open_rows, key=lambda row: best[row][0][0])
        true = (session[row].piece, session[row].step)
        found["asked"] += 1
        found["right"] += true in [one[1:] for one in best[row]]
        told[row], is_step_known = session[row].piece, True
    for row, options in best.items():
        if row not in told:
            is_right = options[0][1:] == (session[row].piece, session[row].step)
            found["right"] += is_right
            found["kept wrong"] += not is_right
    return found


def main(kitchens: int, first: int) -> None:
    totals = {sure: Counter[str]() for sure in THRESHOLDS}
    for seed in range(first, first + kitchens):
        kitchen = drawn(seed)
        known = Known(kitchen)
        for session in sessions(kitchen):
            for sure, total in totals.items():
                if session[0].one_by_one:
                    total.update(loads=len(session), right=len(session))
                else:
                    total.update(judged(known, session, sure))
            known.take(session)
    print(f"{kitchens} kitchens, {totals[THRESHOLDS[0]]['loads']} loads\n")
    names = ("right", "asked", "kept wrong", "sessions asked", "wrong where none asked")
    print(f"| kept above | {' | '.join(names)} |\n{'| --- ' * (len(names) + 1)}|")
    for sure, total in totals.items():
        shares = " | ".join(f"{total[name] / total['loads']:.2%}" for name in names)
        print(f"| {sure} | {shares} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, int([*sys.argv, "0", "0"][2]))
