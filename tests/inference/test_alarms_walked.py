"""Random walks of a piece: recognition ends, suppresses and delays no alarm.

The same walk is heard with all true marks, with a few of them, with none; with recognition and
without (``heard.py``). What the walks read is made by ``walk.py``, which shares nothing with
what judges it.
"""

from __future__ import annotations

from collections import Counter

import pytest

from tests.inference.heard import FOOD, Compared, compared


def judged(seeds: range) -> Counter[str]:
    """Return how often each alarm rang with all marks, once nothing was found amiss."""
    rang: Counter[str] = Counter()
    for seed in seeds:
        one = compared(seed)
        _nothing_lost(one)
        rang.update(alarm.partition("/")[0] for _, alarm in one.marked.rings())
    return rang


def _nothing_lost(one: Compared) -> None:
    assert one.lost() == [], (one.seed, "recognition takes away what few marks ring")
    assert one.worse() == [], (one.seed, "recognition takes away what no mark rings")
    for way, heard in (("silent", one.silent), ("helped", one.helped)):
        assert heard.ended == [], (one.seed, way, "a stage that was inferred ends an alarm")


@pytest.mark.slow
def test_recognition_takes_no_alarm_away() -> None:
    rang = judged(range(20))
    assert rang["hot-hold-low"] > 4
    assert rang["cooling-stage-1-late"] > 2


@pytest.mark.nightly
def test_recognition_takes_no_alarm_away_in_many_walks() -> None:
    rang = judged(range(1000, 1200))
    assert all(rang[kind] for kind in FOOD), rang
