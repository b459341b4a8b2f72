"""What the ledger asks is read in the reader's unit and words."""

from __future__ import annotations

import pytest

from pitlogger.views.doubts import as_read


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
