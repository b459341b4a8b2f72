"""The recipe: seeds, sizes, splits. One call makes the bytes that are shipped.

Nothing is scored or calibrated by networks that saw its own plant: for each plant there is a
library trained on the others (``left_out``), which answers the moments of that plant's fresh
cooks. Blend and intervals come from those answers; the networks that are shipped learn from all
plants.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.library import CHECKSUM, FILE, Library, unpack
from tools.forecast_library.plants import PLANTS
from tools.forecast_library.population import STRANGE, USUAL, Cooks, Draw, concatenate, simulate
from tools.forecast_library.prior import fit_prior
from tools.forecast_library.snapshots import (
    Snapshot,
    arriving,
    scoring,
    training,
)
from tools.forecast_library.train import (
    Judged,
    calibrate,
    judge,
    pack,
    table,
    train,
)

Array = npt.NDArray[np.float64]

BLOCK = 400  # cooks simulated at once
FOLDER = Path(__file__).parents[2] / "pitlogger" / "forecast" / "data"


@dataclass(frozen=True, slots=True)
class Recipe:
    """How many cooks of each plant go where; no cook is ever in two of them.

    Attributes:
        train: The networks are trained on. calibrate: Blend, intervals and scores come from.
            prior: The physical model's prior.
        each: Moments of each training cook.
        networks: How many are trained. rounds: How often they look at each moment.
    """

    seed: int = 1
    train: int = 1600
    calibrate: int = 300
    prior: int = 120
    each: int = 12
    networks: int = 3
    rounds: int = 12


@dataclass(frozen=True, slots=True)
class LeftOut:
    """One plant and the library that never saw it, with what that library says of its cooks."""

    plant: str
    held: Library
    asked: list[Snapshot]
    judged: Judged
    late: Judged


def build(recipe: Recipe) -> bytes:
    """Return the library as the bytes of its file."""
    tables = training_tables(recipe)
    folds = left_out(recipe, tables)
    x, y = (np.concatenate(parts) for parts in zip(*tables.values(), strict=True))
    seed = _seed(recipe) + 400
    held = train(x, y, folds[0].held.prior, seed, recipe.networks, recipe.rounds)
    held = calibrate(
        held,
        Judged.of([fold.judged for fold in folds]),
        Judged.of([fold.late for fold in folds]),
    )
    return pack(held)


def training_tables(recipe: Recipe, draw: Draw = STRANGE) -> dict[str, tuple[Array, Array]]:
    """Return features (n, f) and log hours left (n,) for each plant."""
    found = {}
    for number, plant in enumerate(PLANTS):
        begin = _seed(recipe) + 1000 * (number + 1)
        blocks = [
            table(training(simulate(begin + i, BLOCK, plant, draw), begin + 500 + i, recipe.each))
            for i in range(recipe.train // BLOCK)
        ]
        x, y = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
        found[plant] = x, y
    return found


def left_out(recipe: Recipe, tables: dict[str, tuple[Array, Array]]) -> list[LeftOut]:
    """Return for each plant a library trained on the others, and its answers there."""
    seed = _seed(recipe)
    some = [simulate(seed + 1 + i, recipe.prior, plant) for i, plant in enumerate(PLANTS)]
    prior, _ = fit_prior(concatenate(some))
    folds = []
    for number, plant in enumerate(PLANTS):
        others = [pair for name, pair in tables.items() if name != plant]
        x, y = (np.concatenate(parts) for parts in zip(*others, strict=True))
        # As packed and read back: what is calibrated is what is shipped.
        held = unpack(pack(train(x, y, prior, seed + 300 + number, 2, recipe.rounds)))
        fresh = held_out(recipe.calibrate, plant, seed=seed, draw=STRANGE)
        asked = training(fresh, seed + 501, 1) + scoring(fresh, seed + 502)
        # Cool pits teach what never arrives; there are few of them among the usual cooks.
        cool = simulate(seed + 800 + number, recipe.calibrate, plant, replace(STRANGE, cool=0.6))
        late = judge(held, arriving(fresh, seed + 503) + arriving(cool, seed + 504))
        folds.append(LeftOut(plant, held, asked, judge(held, asked), late))
    return folds


def held_out(n: int, plant: str, *, seed: int = 900_000, draw: Draw = USUAL) -> Cooks:
    """Return fresh cooks of a plant."""
    return simulate(seed + 700 + list(PLANTS).index(plant), n, plant, draw)


def _seed(recipe: Recipe) -> int:
    return 10_000 * recipe.seed


def write(library: bytes, folder: Path = FOLDER) -> str:
    """Write the library and its checksum; return the checksum."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / FILE).write_bytes(library)
    checksum = hashlib.sha256(library).hexdigest()
    (folder / CHECKSUM).write_text(f"{checksum}  {FILE}\n")
    return checksum


def difference(ours: Library, shipped: Library) -> float:
    """Return the largest difference in what two libraries say of typical moments, log hours.

    Rounding differs from one processor's linear algebra to another's, and training makes more
    of it: a per cent or three of the remaining time is agreement. A changed plant, recipe or
    seed is far beyond it.
    """
    moments = [m for plant in PLANTS for m in training(simulate(77, 20, plant), 78, 3)]
    pairs = [(ours.predict(m.features()), shipped.predict(m.features())) for m in moments]
    return max(max(abs(a[0] - b[0]), abs(a[1] - b[1])) for a, b in pairs)
