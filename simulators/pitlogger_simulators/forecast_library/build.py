"""The recipe: seeds, sizes, splits. One call makes the octets that are shipped."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pitlogger.forecast.library import CHECKSUM, FILE, Library, unpack
from pitlogger_simulators.forecast_library.population import (
    SHIFTED,
    USUAL,
    WIDE,
    Cooks,
    Draw,
    concatenate,
    simulate,
)
from pitlogger_simulators.forecast_library.prior import fit_prior
from pitlogger_simulators.forecast_library.snapshots import arriving, scoring, training
from pitlogger_simulators.forecast_library.train import calibrate, pack, table, train

BLOCK = 500  # cooks simulated at once
FOLDER = Path(__file__).parents[3] / "pitlogger" / "forecast" / "data"


@dataclass(frozen=True, slots=True)
class Recipe:
    """How many cooks go where; no cook is ever in two of them.

    Attributes:
        usual, wide: The networks are trained on, drawn as such. calibrate, calibrate_wide:
            The blend and the intervals come from. prior: The physical model's prior.
        each: Moments asked of each training cook.
        networks: How many are trained. rounds: How often they look at each moment.
    """

    seed: int = 1
    usual: int = 12_000
    wide: int = 9_000
    calibrate: int = 1200
    calibrate_wide: int = 300
    prior: int = 400
    each: int = 14
    networks: int = 3
    rounds: int = 16


def build(recipe: Recipe) -> bytes:
    """Return the library as the octets of its file."""
    seed = 10_000 * recipe.seed
    prior, _ = fit_prior(simulate(seed + 1, recipe.prior))
    drawn = [(USUAL, recipe.usual, seed + 1000), (WIDE, recipe.wide, seed + 3000)]
    blocks = [
        table(training(simulate(begin + index, BLOCK, draw), begin + 1000 + index, recipe.each))
        for draw, cooks, begin in drawn
        for index in range(cooks // BLOCK)
    ]
    x, y = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
    held = train(x, y, prior, seed + 400, recipe.networks, recipe.rounds)
    fresh = population(seed + 500, recipe.calibrate, USUAL)
    wider = population(seed + 600, recipe.calibrate_wide, WIDE)
    asked = training(fresh, seed + 501, 2) + scoring(fresh, seed + 502)
    asked += training(wider, seed + 601, 2) + scoring(wider, seed + 602)
    # As packed and read back: what is calibrated is what is shipped.
    return pack(calibrate(unpack(pack(held)), asked, arriving(fresh, seed + 503)))


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

    Rounding differs from one processor's linear algebra to another's, and training makes more
    of it: a per cent or three of the remaining time is agreement. A changed plant, recipe or
    seed is far beyond it.
    """
    moments = training(simulate(77, 20), 78, 3)
    pairs = [(ours.predict(m.features()), shipped.predict(m.features())) for m in moments]
    return max(max(abs(a[0] - b[0]), abs(a[1] - b[1])) for a, b in pairs)
