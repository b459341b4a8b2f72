"""How good the forecasts are and what they cost.

    python -m tests.benchmarks.forecast          table of scores, then the two budgets
    python -m tests.benchmarks.forecast --json   the same as one document
    python -m tests.benchmarks.forecast --docs   writes the table into docs/forecast.md

Cooks are simulated with noise, gaps, lid openings, failing fires, misplaced probes and wraps
of all kinds; none was used for building. Each plant's cooks are answered by a library that never
saw that plant: its networks learned from the two others, its intervals were set on how far off
such libraries were on the two others. The libraries are trained anew in the run (minutes). Both
naive methods get an interval from one conformal factor, set on the other plants' cooks. Intervals
are not widened but for the measured records, as a new owner sees them.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.finish import forecast
from pitlogger.forecast.library import Library
from pitlogger.forecast.naive import linear_h
from tests.benchmarks import forecast_own
from tests.benchmarks.forecast_alarms import Kept, kept, prompts
from tests.benchmarks.forecast_cold import cooling_told, meat_told
from tests.benchmarks.forecast_methods import Score, cells, methods, naive_factors
from tests.benchmarks.forecast_tables import (
    GOAL_MIN,
    KITCHENS,
    alarm_table,
    missed,
    own_table,
    write_docs,
)
from tests.benchmarks.measured import moments as measured_moments
from tests.benchmarks.row import Row
from tools.forecast_library.build import (
    LeftOut,
    Recipe,
    held_out,
    left_out,
    training_tables,
)
from tools.forecast_library.population import USUAL
from tools.forecast_library.snapshots import Snapshot, scoring
from tools.forecast_library.train import Judged, calibrate, train

Array = npt.NDArray[np.float64]

COOKS = 300  # of each plant
COOLED = 60  # pieces of each plant
BOUND, BOUND_SEED = "the plant's own networks (bound)", 77
FRESH = 800_000
ROUNDS = 30


def scores(folds: list[LeftOut], cooks: int = COOKS) -> list[Score]:
    """Return all scores, each plant answered by a library that never saw it.

    But for the bound: networks trained on nothing but cooks of the plant itself, none bent.
    """
    recipe = Recipe()
    tables, found = training_tables(recipe, USUAL), []
    for fold in folds:
        held, others = _strange(fold, folds)
        own = train(*tables[fold.plant], held.prior, BOUND_SEED, recipe.networks, recipe.rounds)
        asked = scoring(held_out(cooks, fold.plant, seed=FRESH), 4711)
        kept = [moment for moment in asked if np.isfinite(moment.left_h)]
        made = methods(held, kept, naive_factors(others))
        made[BOUND] = np.array([_usual(own, moment) for moment in kept]).T
        for method, quantiles in made.items():
            found += cells(method, fold.plant, kept, quantiles)
    return found


def _usual(own: Library, moment: Snapshot) -> Array:
    """Return tenth, fiftieth and ninetieth of a hundred as networks say them, in log hours."""
    log_h, sd = own.predict(moment.features())
    return log_h + sd * np.array((-1.282, 0.0, 1.282))


def alarms(folds: list[LeftOut], cooks: int = COOKS // 10) -> list[Kept]:
    """Return how the prompts that hang on the forecast did."""
    seen = []
    for fold in folds:
        held, _ = _strange(fold, folds)
        seen += prompts(held, held_out(cooks, fold.plant, seed=FRESH + 50))
    for fold in folds:
        seen += cooling_told(fold.plant, COOLED)
    return kept([*seen, *meat_told(100)])


def own_cooks(folds: list[LeftOut]) -> list[forecast_own.Told]:
    """Return what is told of kitchens after some of their own cooks."""
    return [
        told
        for fold in folds
        for told in forecast_own.own_cooks(_strange(fold, folds)[0], fold.plant, KITCHENS)
    ]


def _strange(fold: LeftOut, folds: list[LeftOut]) -> tuple[Library, list[LeftOut]]:
    """Return a library that knows nothing of a plant, and what it was calibrated on."""
    others = [other for other in folds if other is not fold]
    judged, late = Judged.of([o.judged for o in others]), Judged.of([o.late for o in others])
    return calibrate(fold.held, judged, late), others


def measured() -> dict[str, float]:
    """Return median error factor, its 90th percentile and coverage on measured records."""
    factor, whole, inside, naive = [], [], [], []
    for moment in measured_moments():
        answer = forecast(moment.request)
        if answer.p10_s is None or answer.p50_s is None or answer.p90_s is None:
            continue
        left_s = moment.left_h * 3600.0
        factor.append(max(answer.p50_s / left_s, left_s / answer.p50_s))
        whole += factor[-1:] if moment.whole else []
        inside.append(answer.p10_s <= left_s <= answer.p90_s)
        core = moment.request.core
        slope = (core.value_c[-1] - core.value_c[-31]) * 2.0
        line = linear_h(core.value_c[-1], moment.request.target_c, slope)
        naive.append(max(line / moment.left_h, moment.left_h / line))
    return {
        "moments": len(factor),
        "median_factor": round(float(np.median(factor)), 2),
        "whole_median_factor": round(float(np.median(whole)), 2),
        "p90_factor": round(float(np.quantile(factor, 0.9)), 2),
        "inside_pct": round(100 * float(np.mean(inside)), 1),
        "linear_median_factor": round(float(np.median(naive)), 2),
    }


def rows() -> list[Row]:
    """Return the two budgets: one cheap and one full update, ms."""
    cooks = held_out(8, "shrinking-cells", seed=FRESH)
    asked = [m for m in scoring(cooks, 1) if m.moment == "2h"][:4]
    cheap, full = [], []
    for moment in asked:
        made = forecast(moment.request)
        carried = replace(moment.request, full=False, carried=made.carried)
        full.append(_best_ms(partial(forecast, moment.request)))
        cheap.append(_best_ms(partial(forecast, carried)))
    return [
        Row("forecast", round(max(cheap), 3), "ms"),
        Row("forecast-full", round(max(full), 2), "ms"),
    ]


def _best_ms(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return float(np.median(times)) * 1000.0


def main() -> None:
    """Print the table or the document."""
    folds = left_out(Recipe(), training_tables(Recipe()))
    report(scores(folds), alarms(folds), own_cooks(folds))


def report(found: list[Score], told: list[Kept], own: list[forecast_own.Told]) -> None:
    """Print what was scored, or write it into the docs."""
    record, cost = measured(), rows()
    if "--json" in sys.argv:
        document = {
            "scores": [asdict(score) for score in found],
            "alarms": [asdict(one) for one in told],
            "measured": record,
            "rows": [row._asdict() for row in cost],
        }
        print(json.dumps(document, indent=2))
        return
    if "--docs" in sys.argv:
        write_docs(found, told, own, record)
        return
    head = f"{'method':34}{'never saw':17}{'when':7}{'n':>5}{'left':>6}{'error':>7}{'goal':>6}"
    print(f"{head}{'bias':>7}{'CRPS':>7}{'inside':>8}{'width':>7}   (minutes)")
    for s in found:
        goal = GOAL_MIN.get(s.moment, "") if s.method.startswith("blend") else ""
        print(
            f"{s.method:34}{s.population:17}{s.moment:7}{s.n:5}{s.left:6.0f}{s.median_error:7.0f}"
            f"{goal:>6}{s.bias:+7.0f}{s.crps:7.0f}{100 * s.coverage:7.0f}%{s.width:7.0f}"
        )
    print(f"{own_table(own)}\n\n{alarm_table(told)}")
    print("measured records, widened:", ", ".join(f"{k} {v:g}" for k, v in record.items()))
    print("not reached:", "; ".join(missed(found, record)) or "nothing")
    for row in cost:
        print(f"{row.id}: {row.value} {row.unit}")


if __name__ == "__main__":
    main()
