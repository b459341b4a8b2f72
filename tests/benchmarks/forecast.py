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
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.blend import Centre, Known, blended, calibrated
from pitlogger.forecast.finish import LEVELS, forecast
from pitlogger.forecast.library import Library
from pitlogger.forecast.naive import exponential_h, linear_h
from pitlogger.forecast.phase import phase_of
from pitlogger.forecast.request import Ensemble
from tests.benchmarks import forecast_own
from tests.benchmarks.forecast_alarms import Kept, kept, prompts
from tests.benchmarks.forecast_cold import cooling_told, meat_told
from tests.benchmarks.measured import moments as measured_moments
from tests.benchmarks.row import Row
from tools.forecast_library.build import (
    LeftOut,
    Recipe,
    held_out,
    left_out,
    training_tables,
)
from tools.forecast_library.snapshots import Snapshot, scoring
from tools.forecast_library.train import Judged, calibrate, judge, train

Array = npt.NDArray[np.float64]

COOKS = 300  # of each plant
COOLED = 60  # pieces of each plant
BOUND, BOUND_SEED = "the plant's own networks (bound)", 77
KITCHENS = 8  # of each plant
FRESH = 800_000
STAGES = ("6h", "4h", "2h", "1h", "stall")
GOAL_MIN = {"6h": 45, "4h": 30, "2h": 20, "1h": 10}
GOAL_WIDTH_MIN = {"6h": 240, "4h": 150, "2h": 90, "1h": 45}
GOAL_INSIDE_PCT = (75, 88)
ROUNDS = 30
FINE = tuple(sorted({*LEVELS, *(round((i + 0.5) / 20, 3) for i in range(20))}))
DOCS = Path(__file__).parents[2] / "docs" / "forecast.md"
BEGIN, END = "<!-- scores -->", "<!-- end of scores -->"


@dataclass(frozen=True, slots=True)
class Score:
    """One cell of the table; times in minutes.

    Bias is the median of told less true; CRPS (Gneiting and Raftery 2007) that of the thirty
    quantiles of a method, of three for those without. ``fifths``: how many of a hundred truths fell
    into each fifth of what was told (the histogram of the probability integral transform).
    """

    method: str
    population: str
    moment: str
    n: int
    left: float
    median_error: float
    bias: float
    crps: float
    coverage: float
    width: float
    fifths: tuple[int, ...] = ()


def scores(
    folds: list[LeftOut], tables: dict[str, tuple[Array, Array]], cooks: int = COOKS
) -> list[Score]:
    """Return all scores, each plant answered by a library that never saw it.

    But for the bound: networks trained on nothing but cooks of the plant itself.
    """
    found = []
    for fold in folds:
        held, others = _strange(fold, folds)
        recipe = Recipe()
        own = train(*tables[fold.plant], held.prior, BOUND_SEED, recipe.networks, recipe.rounds)
        asked = scoring(held_out(cooks, fold.plant, seed=FRESH), 4711)
        kept = [moment for moment in asked if np.isfinite(moment.left_h)]
        made = _methods(held, kept, _naive_factors(others))
        made[BOUND] = np.array([_usual(own, moment) for moment in kept]).T
        for method, quantiles in made.items():
            found += _table(method, fold.plant, kept, quantiles)
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


def markdown(found: list[Score], record: dict[str, float]) -> str:
    """Return the scores as the docs show them."""
    lines = [
        "| | never saw | when | error | goal | bias | CRPS | inside | width |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for s in found:
        goal = GOAL_MIN.get(s.moment, "") if s.method.startswith("blend") else ""
        lines.append(
            f"| {s.method} | {s.population} | {s.moment} | {s.median_error:.0f} | {goal} | "
            f"{s.bias:+.0f} | {s.crps:.0f} | {100 * s.coverage:.0f} % | {s.width:.0f} |"
        )
    spread = "; ".join(
        f"{s.population} {', '.join(map(str, s.fifths))}"
        for s in found
        if s.moment == "all" and s.method.startswith("blend")
    )
    lines += [
        "",
        f"Of a hundred truths in each fifth of what is shown (20 each were perfect): {spread}.",
        "",
        (
            f"Measured records (widened, {record['moments']:.0f} moments): "
            f"median error factor {record['median_factor']:g} (goal 1.35; "
            f"slope alone {record['linear_median_factor']:g}), "
            f"{record['whole_median_factor']:g} on records of three points and more, "
            f"nine in ten under {record['p90_factor']:g}, truth inside the 80 % interval "
            f"{record['inside_pct']:.0f} % of the time."
        ),
    ]
    return "\n".join(
        [*lines, "", f"**Not reached:** {'; '.join(missed(found, record)) or 'nothing'}."]
    )


def alarm_table(told: list[Kept]) -> str:
    """Return the table of the prompts as the docs show it."""
    lead = (
        "**Prompts that hang on it**, on cooks of a plant the library never saw, each with a "
        "service at random (2 h before to 7 h after the meat is off the pit), looked at every half "
        "hour. In vain: of those told, how many were not called for (late by under half an hour "
        "counts as in vain). Cooling: pieces of 0.5 to 3 kg, 2 to 10 cm thick, in a refrigerator "
        "or in ice, hours before the limit. Meat: three packers a cook, weighed at the wrap and "
        "off the pit, guests between three and five quarters of what it does for, hours before "
        "the pull; told where it is less than 80 % likely to do, so some must be in vain."
    )
    head = "| prompt | called for | told ahead | how long ahead | in vain |"
    return "\n".join(
        [lead, "", head, "| --- | --- | --- | --- | --- |", *(one.row() for one in told)]
    )


def own_table(told: list[forecast_own.Told]) -> str:
    """Return the table of own cooks as the docs show it."""
    lead = (
        f"**After own cooks**, on cooks of plants the library never saw: {KITCHENS} kitchens of "
        "each, error and bias in minutes, how many lay inside (not widened). The second four: "
        "the same cooks if all of them took a quarter longer, which no plant knows."
    )
    return f"{lead}\n\n{forecast_own.table(told)}"


def missed(found: list[Score], record: dict[str, float]) -> list[str]:
    """Return what falls short of its goal, in words."""
    short = []
    for s in found:
        if not s.method.startswith("blend") or s.moment not in GOAL_MIN:
            continue
        at, inside = f"at {s.moment}, {s.population}", round(100 * s.coverage)
        if round(s.median_error) > GOAL_MIN[s.moment]:
            short.append(f"error {s.median_error:.0f} min {at} (goal {GOAL_MIN[s.moment]})")
        if round(abs(s.bias)) > 0.25 * s.median_error:
            short.append(f"bias {s.bias:+.0f} min {at} (a quarter of the error)")
        low, high = GOAL_INSIDE_PCT
        if not low <= inside <= high:
            short.append(f"{inside} % inside {at} (goal {low} to {high})")
        if s.width > GOAL_WIDTH_MIN[s.moment]:
            short.append(f"width {s.width:.0f} min {at} (goal {GOAL_WIDTH_MIN[s.moment]})")
    if record["median_factor"] > 1.35:
        short.append(f"measured records, median factor {record['median_factor']:g} (goal 1.35)")
    return short


def write_docs(
    found: list[Score],
    told: list[Kept],
    own: list[forecast_own.Told],
    record: dict[str, float],
    path: Path = DOCS,
) -> None:
    """Put the scores between their marks in the docs."""
    before, _, rest = path.read_text().partition(BEGIN)
    _, _, after = rest.partition(END)
    path.write_text(
        f"{before}{BEGIN}\n\n{markdown(found, record)}\n\n{own_table(own)}\n\n"
        f"{alarm_table(told)}\n\n{END}{after}"
    )


def _methods(held: Library, asked: list[Snapshot], factors: dict[str, float]) -> dict[str, Array]:
    """Return quantiles in log hours, shape (levels, n), of each method."""
    judged = judge(held, asked)
    made = {
        name: _spread(np.log(np.maximum(naive(asked), 1 / 60)), factors[name])
        for name, naive in NAIVE.items()
    }
    known = [
        m if m.log_h is not None else Ensemble(0.0, np.log(24.0), 0.5, 0.0) for m in judged.models
    ]
    model = np.array([m.log_h for m in known], dtype=np.float64)
    made["physical model, raw spread"] = model + np.outer((-1.282, 0, 1.282), [m.sd for m in known])
    alone = [Centre(float(m), float(sd)) for m, sd in zip(
        judged.library_log, judged.library_sd, strict=True)]  # fmt: skip
    made["library alone"] = _calibrated(held, judged.features, alone)
    pairs = [
        blended((one.log_h, one.sd), model, held.constants)
        for one, model in zip(alone, judged.models, strict=True)
    ]
    made["blend (what is shown)"] = _calibrated(held, judged.features, pairs)
    return made


def _calibrated(held: Library, seen: Array, middles: list[Centre]) -> Array:
    """Return quantiles in log hours, shape (levels, n), by the scores of each moment's phase."""
    z = [calibrated(scores, Known(), 1.0, FINE) for scores in held.scores]
    return np.array(
        [
            middle.log_h + middle.sd * z[phase_of(features, middle.log_h)]
            for features, middle in zip(seen, middles, strict=True)
        ]
    ).T


def _linear(asked: list[Snapshot]) -> Array:
    return np.array(
        [linear_h(m.past.level_c, m.request.target_c, m.past.slope_c_per_h(30)) for m in asked]
    )


def _exponential(asked: list[Snapshot]) -> Array:
    return np.array(
        [
            exponential_h(
                m.past.level_c, m.request.target_c, m.past.slope_c_per_h(60), m.past.pit_now_c()
            )
            for m in asked
        ]
    )


NAIVE: dict[str, Callable[[list[Snapshot]], Array]] = {
    "linear, 30-min slope": _linear,
    "exponential to the pit": _exponential,
}


def _naive_factors(others: list[LeftOut]) -> dict[str, float]:
    """Return the log half-width that covers 80 % of other plants' cooks, for each method."""
    asked = [m for fold in others for m in fold.asked
             if np.isfinite(m.left_h) and m.moment in STAGES]  # fmt: skip
    left = np.log([m.left_h for m in asked])
    return {
        name: float(np.quantile(np.abs(left - np.log(np.maximum(naive(asked), 1 / 60))), 0.8))
        for name, naive in NAIVE.items()
    }


def _spread(middle: Array, half: float) -> Array:
    return np.stack([middle - half, middle, middle + half])


def _table(method: str, population: str, asked: list[Snapshot], logs: Array) -> list[Score]:
    told = np.minimum(np.exp(logs), 24.0) * 60.0
    low, middle, high = told if len(told) == 3 else told[[FINE.index(q) for q in LEVELS]]
    left = np.array([m.left_h for m in asked]) * 60.0
    names = np.array([m.moment for m in asked])
    apart = crps(told, left)
    inside = (low <= left) & (left <= high)
    found = []
    for stage in (*STAGES, "all"):
        at = np.ones(len(names), dtype=bool) if stage == "all" else names == stage
        off = (middle - left)[at]
        found.append(
            Score(
                method, population, stage, int(at.sum()), float(np.median(left[at])),
                float(np.median(np.abs(off))), float(np.median(off)), float(apart[at].mean()),
                float(inside[at].mean()), float(np.median((high - low)[at])),
                fifths(told[:, at], left[at]) if len(told) == len(FINE) else (),
            )
        )  # fmt: skip
    return found


def crps(told: Array, came: Array) -> Array:
    """Return the continuous ranked probability score of quantiles (levels, n) for what came (n,).

    The quantiles count as an ensemble: mean distance to what came less half of that among
    themselves (Gneiting and Raftery 2007, equation 21).
    """
    apart = np.abs(told[:, None, :] - told[None, :, :]).mean(axis=(0, 1))
    return np.asarray(np.abs(told - came).mean(axis=0) - 0.5 * apart)


def fifths(told: Array, came: Array) -> tuple[int, ...]:
    """Return how many of a hundred came in each fifth of the quantiles ``FINE`` (levels, n)."""
    place = [np.interp(x, quantiles, FINE) for x, quantiles in zip(came, told.T, strict=True)]
    counts, _ = np.histogram(place, bins=5, range=(0.0, 1.0))
    return tuple(round(100 * int(count) / len(came)) for count in counts)


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
    tables = training_tables(Recipe())
    folds = left_out(Recipe(), tables)
    report(scores(folds, tables), alarms(folds), own_cooks(folds))


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
