"""What a firm's sites teach goes down to its nodes as an offer, and a plan uses what was taken."""

from __future__ import annotations

import json
import math
import random
from pathlib import Path

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from pitlogger.errors import RefusedError
from pitlogger.formats.cook_file import parse_cook
from pitlogger.hub.database import SqliteDatabase
from pitlogger.hub.priors import offer_for, pooled
from pitlogger.hub.receive import NodeRow
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookStarted, StageSet
from pitlogger.planning.fields import Dish, Portion
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.planning.purchase import plan
from pitlogger.uplink.joined import leave
from pitlogger.uplink.offers import OFFER_FILE, answer_offer, keep_offered, read_offer
from pitlogger.yields.purchase.cut_priors import cut_prior
from tests.fleet.test_two_nodes import COOK, Running, _until, invited, pair
from tests.fleet.test_yields import put

__all__ = ["pair"]
BUTT = {"mean": 0.4, "between": 0.1, "within": 0.12, "sites": 4.0, "pieces": 33.0}
QUESTION = PlanQuestion(60, (Dish("pork-butt", 1.0),), Portion(140.0), piece_mass_g=4100.0)


def drawn(seed: int, sites: int, pieces: tuple[int, int]) -> list[list[float]]:
    rng = random.Random(seed)
    return [
        [rng.gauss(mean, 0.15) for _ in range(rng.randint(*pieces))]
        for mean in (rng.gauss(0.2, 0.25) for _ in range(sites))
    ]


@pytest.mark.parametrize("seed", range(6))
def test_the_prior_is_that_of_a_mixed_model(seed: int) -> None:
    """Against statsmodels' MixedLM (REML), sites of unequal size."""
    sites = drawn(seed, 40, (3, 14))
    ours = pooled(sites, cut_prior("pork-butt"))
    values = np.array([one for some in sites for one in some])
    groups = np.array([at for at, some in enumerate(sites) for _ in some])
    model = MixedLM(values, np.ones((len(values), 1)), groups).fit(reml=True)
    assert ours["mean"] == pytest.approx(float(model.fe_params[0]), abs=0.01)
    assert ours["within"] == pytest.approx(math.sqrt(float(model.scale)), rel=0.05)
    sure = math.hypot(math.sqrt(float(np.asarray(model.cov_re)[0, 0])), float(model.bse_fe[0]))
    assert ours["between"] == pytest.approx(sure, rel=0.12)
    assert ours["pieces"] == len(values)


def test_a_further_site_lies_where_the_prior_says() -> None:
    """Nine of ten intervals of nine tenths, even from three sites: within four standard errors."""
    inside, tries = 0, 600
    for seed in range(tries):
        *known, (further, *_) = drawn(seed, 4, (3, 6))
        prior = pooled(known, cut_prior("pork-butt"))
        reach = 1.645 * math.hypot(prior["between"], prior["within"])
        inside += abs(further - prior["mean"]) < reach
    assert inside / tries > 0.9 - 4 * math.sqrt(0.09 / tries)


def node(site: int, tenant: int = 1) -> NodeRow:
    return NodeRow(1, "p-x", tenant, site, "pit", b"", "enrolled")


def test_own_site_few_sites_and_other_firms_teach_nothing(tmp_path: Path) -> None:
    database = SqliteDatabase(tmp_path / "hub.db")
    put(database, {f"site {n}": [0.1 * n, 0.1 * n + 0.05, 0.1 * n - 0.05] for n in range(4)})
    first, last = (offer_for(database, node(site))["pork-butt"] for site in (1, 4))
    assert (first["sites"], first["pieces"]) == (3, 9)
    assert first["mean"] > last["mean"]  # each without its own
    assert offer_for(database, node(1, tenant=2)) == {}
    database.run("DELETE FROM piece WHERE site = 4")
    assert offer_for(database, node(1)) == {}
    database.run("UPDATE piece SET cut = 'goat-whole'")
    assert offer_for(database, node(9)) == {}
    database.close()


def notes(past: PastCooks) -> str:
    return " ".join(plan(QUESTION, past).dishes[0].notes)


def test_a_plan_uses_what_was_taken_alone_and_names_it(tmp_path: Path) -> None:
    def past() -> PastCooks:
        return PastCooks.from_books((), read_offer(tmp_path).priors())

    keep_offered(tmp_path, "Meadow Catering", {"pork-butt": BUTT})
    assert read_offer(tmp_path).is_open
    assert "Meadow" not in notes(past())
    before = plan(QUESTION, past()).dishes[0].basis
    answer_offer(tmp_path, "take", "AB")
    assert "that of Meadow Catering (4 other sites, 33 pieces)" in notes(past())
    basis = plan(QUESTION, past()).dishes[0].basis
    assert basis.median == pytest.approx(1 / (1 + math.exp(-0.4)), abs=0.002)
    assert basis.p90 - basis.p10 < before.p90 - before.p10
    keep_offered(tmp_path, "Meadow Catering", {"pork-butt": {**BUTT, "mean": 0.9}})
    assert read_offer(tmp_path).is_open
    assert plan(QUESTION, past()).dishes[0].basis == basis, "a newer offer was taken silently"
    answer_offer(tmp_path, "decline", "AB")
    assert plan(QUESTION, past()).dishes[0].basis == before
    assert not read_offer(tmp_path).is_open
    answer_offer(tmp_path, "take", "AB")
    leave(tmp_path)
    assert "Meadow" not in notes(past()), "another firm's prior is used after leaving it"


@pytest.mark.parametrize("wrong", [
    {"mean": float("nan")}, {"between": 0.0}, {"within": -0.1}, {"sites": 0}, {"mean": 900.0},
    {"between": float("inf")}, {"pieces": 2.5},
])  # fmt: skip
def test_what_is_no_prior_is_not_offered(tmp_path: Path, wrong: dict[str, float]) -> None:
    keep_offered(tmp_path, "Meadow Catering", {
        "pork-butt": {**BUTT, **wrong}, "goat-whole": BUTT, "tri-tip": BUTT, "pork-belly": {},
    })  # fmt: skip
    assert list(read_offer(tmp_path).offered) == ["tri-tip"]


@pytest.mark.parametrize("content", ["", "{", '{"taken": {"pork-butt": {"mean": "x"}}}', "[]"])
def test_a_broken_file_is_no_offer(tmp_path: Path, content: str) -> None:
    (tmp_path / OFFER_FILE).write_text(content)
    assert read_offer(tmp_path).priors() == {}
    with pytest.raises(RefusedError):
        answer_offer(tmp_path, "take", "AB")


async def test_an_offer_comes_down_and_is_answered_by_a_person(
    pair: tuple[Running, Running],
) -> None:
    hub, one = pair
    path = hub.daemon.config.node.data / "hub.db"
    database = SqliteDatabase(path)
    for site in ("east", "west", "quay"):
        database.run("INSERT INTO site (tenant, name) VALUES (1, ?)", (site,))
        database.run(
            "INSERT INTO piece SELECT 1, id, 1, name, n, 'pork-butt', 5000000, 2500000 + n * 100000"
            " FROM site, (SELECT 1 AS n UNION SELECT 2 UNION SELECT 3) WHERE name = ?", (site,),
        )  # fmt: skip
    database.close()
    address, code = await invited(hub)
    assert (await one.post("/uplink/join", hub=address, code=code)).is_success

    async def is_heard() -> bool:
        return (await one.get("/uplink"))["last_receipt_ms"] is not None

    async def is_offered() -> bool:
        return bool((await one.get("/uplink/priors"))["offered"])

    one.say(CookStarted(parse_cook(COOK)))
    await _until(is_heard)
    one.say(StageSet("butt-1", Stage.SMOKING, one.daemon.clock.engine_ms()))
    await _until(is_offered)
    found = await one.get("/uplink/priors")
    assert found["offered"]["pork-butt"]["sites"] >= 3, json.dumps(found)
    assert found["taken"] == {}
    assert (await one.get("/uplink"))["offered"] == 1
    answer = await one.post("/uplink/priors", answer="take", by="AB")
    assert answer.json()["taken"] == found["offered"]
    assert answer.json()["by"] == "AB"
    assert (await one.get("/uplink"))["offered"] == 0
    assert (await one.post("/uplink/priors", answer="perhaps")).status_code == 400
