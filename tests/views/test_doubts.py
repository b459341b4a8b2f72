"""What the ledger asks is read in the reader's unit and words."""

from __future__ import annotations

import pytest

from pitlogger.model.quantities import parse_mass_mg
from pitlogger.rules.messages import Units
from pitlogger.views.doubts import as_read, plain_mass, typed_unit


@pytest.mark.parametrize(
    ("told", "unit", "read"),
    [
        ("butt-1: 5205 g off-pit is 100% of 5192 g trimmed.", "lb-oz",
         "butt-1: 11 lb 7.6 oz off the pit is 100% of 11 lb 7.1 oz trimmed."),
        ("b: 410 g rested is 12 g more than 398 g off-pit", "kg",
         "b: 0.410 kg rested is 0.012 kg more than 0.398 kg off the pit"),
        ("b has two masses at rested, 410 g and 398 g; the later one counts.", "g",
         "b has two masses at rested, 410 g and 398 g; the later one counts."),
        ("piece-3 g", "kg", "piece-3 g"),
    ],
)  # fmt: skip
def test_grams_and_ids_become_what_a_person_reads(told: str, unit: str, read: str) -> None:
    assert as_read(told, unit) == read


@pytest.mark.parametrize(
    ("written", "theirs", "unit"),
    [("8 lb", "kg", "lb"), ("8 lb", "lb-oz", "lb"), ("13.1 lb", "kg", "lb"),
     ("3.63 kg", "lb-oz", "kg"), ("13 lb 7 oz", "lb-oz", "lb"), ("7 oz", "lb-oz", "oz"),
     ("450 g", "lb", "g"), ("1.5 kg", "kg", "kg"), ("1500 g", "g", "g"), ("6 kg", "lb", "kg")],
)  # fmt: skip
def test_a_mass_tells_in_which_unit_it_was_written(written: str, theirs: str, unit: str) -> None:
    assert typed_unit(parse_mass_mg(written), Units(mass=theirs)) == unit


def test_a_factor_of_a_rounded_mass_tells_its_unit_too() -> None:
    meant_mg = round(parse_mass_mg("1.5 lb") * 2.2046226218)
    assert plain_mass(meant_mg / 1000, Units(), typed_unit(meant_mg, Units())) == "1.5 kg"
