"""The recipe: seeds, sizes, splits. One call makes the octets that are shipped."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from pitlogger.forecast.library import CHECKSUM, FILE, Library, unpack
from pitlogger_simulators.forecast_library.population import (
    SHIFTED,
    USUAL,
    Cooks,
    Draw,
    concatenate,
    simulate,
)
from pitlogger_simulators.forecast_library.prior import fit_prior
from pitlogger_simulators.forecast_library.snapshots import Snapshot, arriving, scoring, training
from pitlogger_simulators.forecast_library.train import calibrate, pack, train

BLOCK = 500  # cooks simulated at once
FOLDER = Path(__file__).parents[3] / "pitlogger" / "forecast" / "data"


@dataclass(frozen=True, slots=True)
class Recipe:
    """How many cooks go where; no cook is ever in two of them.

    Attributes:
        fit: The regressions are trained on. tune: their strength is chosen on.
        calibrate: The blend and the interval come from. prior: the physical model's prior.
        each: Moments asked of each training cook.
    """

    seed: int = 1
    fit: int = 5000
    tune: int = 400
    calibrate: int = 800
    prior: int = 400
    each: int = 10


def build(recipe: Recipe) -> bytes:
    """Return the library as the octets of its file."""
    seed = 1000 * recipe.seed
    prior, _ = fit_prior(simulate(seed + 1, recipe.prior))
    moments: list[Snapshot] = []
    for index in range(0, recipe.fit, BLOCK):
        cooks = simulate(seed + 100 + index // BLOCK, min(BLOCK, recipe.fit - index))
        moments += training(cooks, seed + 200 + index // BLOCK, recipe.each)
    tune = training(simulate(seed + 300, recipe.tune), seed + 301, recipe.each)
    held, _ = train(moments, tune, prior, seed + 400)
    fresh = population(seed + 500, recipe.calibrate, USUAL)
    asked = (
        training(fresh, seed + 501, 2) + scoring(fresh, seed + 502) + arriving(fresh, seed + 503)
    )
    # As packed and read back: what is calibrated is what is shipped.
    return pack(calibrate(unpack(pack(held)), asked))


def population(seed: int, n: int, draw: Draw) -> Cooks:
    """Return ``n`` cooks, simulated in blocks."""
    return concatenate(
        [simulate(seed + 7919 * (i // BLOCK), min(BLOCK, n - i), draw) for i in range(0, n, BLOCK)]
    )


def held_out(n: int, *, shifted: bool = False) -> Cooks:
    """Return cooks for scoring that no part of the recipe has seen."""
    return population(900_001 if shifted else 800_001, n, SHIFTED if shifted else USUAL)


def write(octets: bytes, folder: Path = FOLDER) -> str:
    """Write the library and its checksum; return the checksum."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_bytes(octets)
    checksum = hashlib.sha256(octets).hexdigest()
    (folder / CHECKSUM).write_text(f"{checksum}  {FILE}\n")
    return checksum


def difference(ours: Library, shipped: Library) -> float:
    """Return the largest difference in what two libraries say of typical moments, log hours.

    Rounding differs from one processor's linear algebra to another's; a tenth of a per cent
    of the remaining time is agreement, and a changed plant or recipe is far beyond it.
    """
    moments = training(simulate(77, 20), 78, 3)
    pairs = [(ours.predict(m.features()), shipped.predict(m.features())) for m in moments]
    return max(max(abs(a[0] - b[0]), abs(a[1] - b[1])) for a, b in pairs)
