"""Are the learned intervals and the plan's risk honest, and how fast is the answer?

    python tests/benchmarks/yields.py            all rows, as JSON

A thousand synthetic owners with 0 to 20 cooks each: their mean yields differ as the prior
says, their spreads vary by about a third around 0.10 on the logit scale. Each cooks twenty
times more; what comes out is held against what was promised. Seeded: twice the same.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypedDict

import numpy as np

from pitlogger.yields.learned.belief import expit, logit
from pitlogger.yields.learned.servable import Observed, learn
from pitlogger.yields.purchase.cut_priors import BETWEEN_KITCHENS, WITHIN_KITCHEN, cut_prior
from pitlogger.yields.purchase.demand import Party, demand
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PurchaseQuestion, plan
from pitlogger.yields.records import PastPiece
from pitlogger.yields.weighing.uncertainty import Measured
from tests.benchmarks.process import COMMAND, answering, started

CUT, OWNERS, MOST_COOKS, LATER = "brisket-packer", 1000, 20, 20
TYPICAL = PieceMass(14 * 453.59237, 1.5 * 453.59237)
PORTION_G, RISK = 5 * 28.349523125, 0.05


class Row(TypedDict):
    id: str
    value: float
    unit: str
    budget: str
    met: bool


@dataclass(frozen=True, slots=True)
class Owner:
    """One kitchen: what it logged, and its true mean and spread on the logit scale."""

    logged: list[Observed]
    mean: float
    spread: float


def owners(rng: np.random.Generator) -> Iterator[Owner]:
    """Yield the synthetic owners."""
    for _ in range(OWNERS):
        mean = cut_prior(CUT).logit + BETWEEN_KITCHENS * rng.standard_normal()
        spread = WITHIN_KITCHEN * math.exp(0.3 * rng.standard_normal())
        cooks = rng.integers(0, MOST_COOKS + 1)
        shares = [expit(mean + spread * z) for z in rng.standard_normal(cooks)]
        yield Owner([_observed(k, share) for k, share in enumerate(shares)], mean, spread)


def _observed(number: int, share: float) -> Observed:
    masses = {"purchased": Measured(6350.0)}
    return Observed(PastPiece("b", CUT, cook=f"c{number}", masses=masses), 6350.0 * share)


def coverage_pct(seed: int = 1) -> float:
    """Return how often a later cook falls in the 80 % interval, %."""
    rng = np.random.default_rng(seed)
    inside = 0
    for owner in owners(rng):
        known = learn(CUT, owner.logged)
        low, high = known.quantile(0.1), known.quantile(0.9)
        later = 1 / (1 + np.exp(-(owner.mean + owner.spread * rng.standard_normal(LATER))))
        inside += int(np.sum((low <= later) & (later <= high)))
    return 100 * inside / (OWNERS * LATER)


def factor_coverage_pct(seed: int = 4) -> float:
    """Return how often a later cook of a known supplier falls in the 80 % interval, %.

    Three suppliers lie 0.10 apart on the logit scale, as much as cooks of one kitchen do.
    """
    rng = np.random.default_rng(seed)
    inside = 0
    for owner in owners(rng):
        shifts = WITHIN_KITCHEN * rng.standard_normal(3)
        levels = rng.integers(0, 3, len(owner.logged))
        logged = [
            _from(one, f"s{k}", shifts[k]) for one, k in zip(owner.logged, levels, strict=True)
        ]
        known = learn(CUT, logged, asked={"supplier": "s0"})
        low, high = known.quantile(0.1), known.quantile(0.9)
        own = owner.mean + shifts[0] + owner.spread * rng.standard_normal(LATER)
        later = 1 / (1 + np.exp(-own))
        inside += int(np.sum((low <= later) & (later <= high)))
    return 100 * inside / (OWNERS * LATER)


def _from(one: Observed, supplier: str, shift: float) -> Observed:
    share = expit(logit(one.servable_g / 6350.0) + shift)
    return Observed(replace(one.record, supplier=supplier), 6350.0 * share)


def risk_gap_points(seed: int = 2) -> float:
    """Return realised less stated risk of running short over all owners, percentage points."""
    rng = np.random.default_rng(seed)
    stated, short = 0.0, 0
    for owner in owners(rng):
        guests = int(rng.integers(20, 150))
        wanted = demand((Party(guests, PORTION_G),))
        found = plan(PurchaseQuestion(learn(CUT, owner.logged), wanted, RISK, TYPICAL)).chosen()
        assert found is not None, "a prior always finds enough pieces"
        stated += 1 - found.p_enough
        draws = (LATER, found.pieces)
        share = 1 / (1 + np.exp(-(owner.mean + owner.spread * rng.standard_normal(draws))))
        mass = TYPICAL.mean_g + TYPICAL.sd_g * rng.standard_normal(draws)
        short += int(np.sum((mass * share).sum(axis=1) < wanted.mean_g))
    return 100 * (short / (OWNERS * LATER) - stated / OWNERS)


def _log_of(cooks: int, folder: Path, cuts: tuple[str, ...] = (CUT,)) -> Path:
    rng = np.random.default_rng(3)
    path = folder / "log.csv"
    lines = ["date,cook,piece,cut,purchased,trimmed,at-wrap,rested,carved"]
    for k in range(cooks):
        share = expit(-0.04 + 0.1 * rng.standard_normal())
        masses = ",".join(f"{6.35 * s:.3f} kg" for s in (1, 0.8, 0.62, share * 1.1, share))
        lines.append(f"2026-01-01,c{k},b,{cuts[k % len(cuts)]},{masses}")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def answer_ms(cooks: int = 1000) -> float:
    """Return how long a plan takes in a process that runs, history read and learned included."""
    from pitlogger.formats.paper_log import read_paper_log
    from pitlogger.planning import Dish, PastCooks, PlanQuestion, Portion, plan

    asked = PlanQuestion(guests=100, portion=Portion(140.0), dishes=(Dish(CUT),))
    with tempfile.TemporaryDirectory() as folder:
        log = _log_of(cooks, Path(folder))
        plan(asked, PastCooks.from_paper(read_paper_log(log)))
        began = time.perf_counter()
        plan(asked, PastCooks.from_paper(read_paper_log(log)))
        return 1000 * (time.perf_counter() - began)


def job_ms(cooks: int = 1000) -> float:
    """Return how long a daemon with 1 000 cooks takes over a job of six dishes, over its socket."""
    cuts = ("brisket-packer", "pork-butt", "pork-spareribs", "chicken-whole", "tri-tip",
            "turkey-breast")  # fmt: skip
    text = '[job]\nguests = 120\nserve_at = "2027-06-19T17:00:00-05:00"\n' + "".join(
        f'[[meat]]\ncut = "{cut}"\nprice = "5/lb"\nshare_pct = {25 if k == 0 else 15}\n'
        for k, cut in enumerate(cuts)
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        config, socket = folder / "pit.toml", folder / "data" / "pitlogger.sock"
        config.write_text(f'[node]\nname = "bench"\ndata = "{folder}/data"\n', encoding="utf-8")
        log = _log_of(cooks, folder, cuts)
        daemon = started(config)
        try:
            client = answering(socket)
            to_it = ["--socket", str(socket)]
            quiet = subprocess.DEVNULL
            subprocess.run([*COMMAND, "import", str(log), *to_it], check=True, stdout=quiet)
            times = []
            for _ in range(4):  # the first reads the record and learns from it
                began = time.perf_counter()
                client.post("/api/v1/jobs/answer", json={"text": text}).raise_for_status()
                times.append(time.perf_counter() - began)
        finally:
            daemon.terminate()
            daemon.wait(10)
    return 1000 * min(times)


def command_ms(cooks: int = 1000) -> float:
    """Return how long the whole command takes, start included; the best of three."""
    with tempfile.TemporaryDirectory() as folder:
        history = _log_of(cooks, Path(folder))
        args = ["plan", "--guests", "100", "--portion", "5oz", "--cut", CUT]
        code = "from pitlogger.cli import main; main()"
        times = []
        for _ in range(3):
            began = time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", code, *args, "--history", str(history), "--json"],
                check=True,
                stdout=subprocess.DEVNULL,
            )
            times.append(time.perf_counter() - began)
    return 1000 * min(times)


def rows() -> list[Row]:
    """Return the rows of this bench."""
    coverage, factor, gap = coverage_pct(), factor_coverage_pct(), risk_gap_points()
    quick, whole, job = answer_ms(), command_ms(), job_ms()
    return [
        _row("yield-coverage", coverage, "%", "77 to 83", 77 <= coverage <= 83),
        _row("factor-coverage", factor, "%", "75 to 85", 75 <= factor <= 85),
        _row("plan-risk-gap", gap, "points", "within 2", abs(gap) <= 2),
        _row("plan-answer", quick, "ms", "200", quick <= 200),
        _row("job-answer", job, "ms", "400", job <= 400),
        _row("plan-command", whole, "ms", "600", whole <= 600),
    ]


def _row(name: str, value: float, unit: str, budget: str, met: bool) -> Row:
    return {"id": name, "value": round(value, 3), "unit": unit, "budget": budget, "met": met}


if __name__ == "__main__":
    print(json.dumps(rows(), indent=2))
