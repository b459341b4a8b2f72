"""Slips of the hand over every cut: each is found, and what was meant is among what is offered."""

from __future__ import annotations

import random

import pytest

from pitlogger.yields.cuts import figures
from pitlogger.yields.plausible import Implausible, implausible_masses

LB, OZ = 453.59237, 28.349523125
SLIPS = {"ten times": 10.0, "a tenth": 0.1, "oz for lb": OZ / LB, "g for kg": 0.001,
         "kg for g": 1000.0, "g for lb": 1 / LB}  # fmt: skip
VARIED = ("other", "sausage", "burnt-ends", "chicken-thigh")  # a batch may be of any size


def found(cut: str, **masses_g: float) -> Implausible | None:
    named = {name.replace("_", "-"): mass for name, mass in masses_g.items()}
    return next(implausible_masses(cut, 1, named), None)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_found_at_purchase_and_what_was_meant_is_offered(slip: str) -> None:
    rng = random.Random(slip)
    for cut, figure in figures().items():
        usual_kg = figure.bought_kg[1]
        if cut in VARIED:
            continue
        for _ in range(30):
            true_g = 1000 * usual_kg * rng.uniform(0.7, 1.4)
            doubt = found(cut, purchased=true_g * SLIPS[slip])
            if doubt is None:  # only where such a piece exists
                assert slip in ("ten times", "a tenth"), (cut, true_g)
                continue
            offered = [one for one in (doubt.likely_g, doubt.or_g) if one is not None]
            if slip != "g for lb":  # three slips in one: asked without a guess
                assert any(abs(one / true_g - 1) < 0.001 for one in offered), (cut, true_g, doubt)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_found_at_carving(slip: str) -> None:
    rng = random.Random(slip)
    for cut, figure in figures().items():
        usual_kg = figure.bought_kg[1]
        for _ in range(30):
            bought_g = 1000 * usual_kg * rng.uniform(0.7, 1.4)
            carved_g = bought_g * rng.uniform(0.4, 0.7)
            assert found(cut, purchased=bought_g, carved=carved_g) is None
            doubt = found(cut, purchased=bought_g, carved=carved_g * SLIPS[slip])
            assert doubt is not None, (cut, slip)
            assert doubt.checkpoint == "carved"


def test_swapped_rows_are_found_whatever_the_cut() -> None:
    for cut, figure in figures().items():
        usual_kg = figure.bought_kg[1]
        bought_g = 1000 * usual_kg
        doubt = found(cut, purchased=bought_g * 0.55, carved=bought_g)
        assert doubt is not None, cut
        assert doubt.why in ("more-than-before", "too-little"), doubt


def test_nothing_is_no_mass() -> None:
    assert found("pork-butt", purchased=0.0) is not None


def test_a_packer_typed_in_kilograms_is_asked_about() -> None:
    doubt = found("brisket-packer", purchased=13_000.0)
    assert doubt is not None
    assert doubt.likely_g == pytest.approx(13 * LB, rel=1e-4)
