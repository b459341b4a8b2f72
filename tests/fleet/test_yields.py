"""Yields across sites, against a mixed model fitted by another program (statsmodels, REML)."""

from __future__ import annotations

import math
import random
import statistics
from pathlib import Path

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.questions import SiteYield, sentence, site_yields
from pitlogger.yields.learned.shrinkage import shrink


def drawn(seed: int, sites: int, each: int) -> dict[str, list[float]]:
    """Return logits of yields: sites differ by 0.2, pieces of one site by 0.15."""
    rng = random.Random(seed)
    means = {f"site-{number}": rng.gauss(0.05, 0.2) for number in range(sites)}
    return {site: [rng.gauss(mean, 0.15) for _ in range(each)] for site, mean in means.items()}


def fitted(values: dict[str, list[float]]) -> tuple[dict[str, float], float]:
    """Return the site means of a model with a random intercept, and the overall mean."""
    logits = np.array([one for some in values.values() for one in some])
    groups = np.array([site for site, some in values.items() for _ in some])
    model = MixedLM(logits, np.ones((len(logits), 1)), groups).fit(reml=True)
    mean = float(model.fe_params[0])
    return {site: mean + float(one.iloc[0]) for site, one in model.random_effects.items()}, mean


@pytest.mark.parametrize("seed", range(5))
def test_shrinkage_is_that_of_a_mixed_model(seed: int) -> None:
    values = drawn(seed, 12, 6)
    within = statistics.fmean(statistics.variance(some) for some in values.values())
    means = [statistics.fmean(some) for some in values.values()]
    ours = shrink(means, [within / 6] * len(means)).groups
    theirs, _ = fitted(values)
    for site, one in zip(values, ours, strict=True):
        assert one == pytest.approx(theirs[site], abs=0.004), site


def test_the_yields_of_sites_agree_with_it(tmp_path: Path) -> None:
    values = drawn(11, 15, 8)
    database = SqliteDatabase(tmp_path / "hub.db")
    put(database, values)
    theirs, _ = fitted(values)
    for row in site_yields(database, 1):
        share = 1 / (1 + math.exp(-theirs[row.site]))
        assert row.shrunk == pytest.approx(share, abs=0.015), row
        assert row.low < row.shrunk < row.high
    database.close()


def put(database: SqliteDatabase, values: dict[str, list[float]]) -> None:
    """Put pieces of 5 kg with these yields into a hub."""
    database.run("INSERT INTO tenant (id, name) VALUES (1, 'own')")
    for number, (site, logits) in enumerate(values.items(), 1):
        database.run("INSERT INTO site (id, tenant, name) VALUES (?, 1, ?)", (number, site))
        rows = [
            (number, site, f"p-{at}", round(5_000_000 / (1 + math.exp(-one))))
            for at, one in enumerate(logits)
        ]
        database.many(
            "INSERT INTO piece (tenant, site, node, cook, piece, cut, purchased_mg, servable_mg)"
            " VALUES (1, ?, 1, ?, ?, 'pork-butt', 5000000, ?)", rows,
        )  # fmt: skip


def test_the_sentence_claims_no_difference_that_chance_would_make(tmp_path: Path) -> None:
    told = 0
    for seed in range(40):
        rng = random.Random(seed)
        database = SqliteDatabase(tmp_path / f"{seed}.db")
        put(database, {name: [rng.gauss(0, 0.15) for _ in range(5)] for name in ("yard", "fair")})
        told += "serves more" in sentence(site_yields(database, 1))
        database.close()
    assert told <= 4, "sites that do not differ are said to differ"


def test_a_cut_that_only_a_newer_node_knows_is_compared_too(tmp_path: Path) -> None:
    database = SqliteDatabase(tmp_path / "hub.db")
    put(database, {"yard": [0.1, 0.2, 0.15], "fair": [0.1, 0.12, 0.2]})
    database.run("UPDATE piece SET cut = 'goat-whole'")
    assert {row.cut for row in site_yields(database, 1)} == {"goat-whole"}
    database.close()


def test_the_sentence_compares_sites_of_one_cut_alone() -> None:
    def row(site: str, cut: str, share: float) -> SiteYield:
        return SiteYield(site, cut, 9, share, share, share - 0.01, share + 0.01)

    assert "serves more" not in sentence([
        row("yard", "pork-butt", 0.6), row("fair", "brisket-packer", 0.45),
    ])  # fmt: skip
    rows = [
        row("yard", "pork-butt", 0.60),
        row("fair", "pork-butt", 0.52),
        row("quay", "brisket-packer", 0.40),
    ]
    words = "yard serves more of a pork-butt than fair: 60 % against 52 % of what was bought."
    assert sentence(rows) == words
