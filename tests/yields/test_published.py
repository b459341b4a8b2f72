"""What is believed of a cut, against the published tables it is said to come from.

tests/data/published_yields.csv: USDA ARS, Table of Cooking Yields, Release 2 (2014) and SR28
weight file; prior_by_cut.csv: the same by the delta method.
"""

import csv
import math
import re
from pathlib import Path

import pytest

from pitlogger.model.cooks import CUTS
from pitlogger.yields.learned.belief import logit
from pitlogger.yields.purchase.cut_priors import BETWEEN_KITCHENS, WITHIN_KITCHEN, cut_prior

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / f"{name}.csv").read_text("utf-8").splitlines()))


PUBLISHED: dict[str, float] = {}
for row in rows("published_yields"):
    for number in re.findall(r"NDB (\d+)", row["source"]):
        PUBLISHED.setdefault(number.lstrip("0"), float(row["yield_percent"]) / 100)


@pytest.mark.parametrize("cut", CUTS)
def test_a_prior_names_its_source_and_lies_where_the_table_does(cut: str) -> None:
    prior = cut_prior(cut)
    assert prior.source
    named = [PUBLISHED[n.lstrip("0")] for n in re.findall(r"NDB (\d+)", prior.source)
             if n.lstrip("0") in PUBLISHED]  # fmt: skip
    if named and not re.search("between|after", prior.source):
        assert prior.median == pytest.approx(named[0], abs=1e-3)


def test_a_packer_is_lean_meat_after_trimming_by_a_sixth_to_a_quarter() -> None:
    lean = PUBLISHED["13368"]
    assert 0.75 * lean < cut_prior("brisket-packer").median < 0.85 * lean


@pytest.mark.parametrize("row", rows("prior_by_cut"), ids=lambda row: row["cut"][:30])
def test_the_delta_method_gives_the_spreads_of_the_table(row: dict[str, str]) -> None:
    mean, sd = float(row["mean_yield"]), float(row["sd_yield"])
    assert logit(mean) == pytest.approx(float(row["logit_mean"]), abs=1e-4)
    assert sd / (mean * (1 - mean)) == pytest.approx(float(row["logit_sd"]), abs=1e-4)
    assert sd / mean == pytest.approx(float(row["log_sd"]), abs=1e-4)


def test_one_kitchen_is_taken_to_spread_less_than_many_laboratories() -> None:
    spreads = sorted(float(row["logit_sd"]) for row in rows("prior_by_cut"))
    assert spreads[0] > WITHIN_KITCHEN
    assert math.hypot(WITHIN_KITCHEN, BETWEEN_KITCHENS) < spreads[-1]
