"""Time as a control and leftovers: random records against judgements of their own.

``PITLOGGER_RECORDS=5000`` runs that many; the counts are printed by
``python -m tests.safety.independent.by_time 5000`` and ``python -m ...leftovers 5000``.
"""

from __future__ import annotations

import os
from types import ModuleType
from typing import Any

import pytest

from tests.safety.independent import by_time, leftovers


@pytest.fixture(scope="module", params=[(by_time, 40), (leftovers, 100)], ids=["time", "leftovers"])
def judged(request: pytest.FixtureRequest) -> tuple[ModuleType, int, list[Any]]:
    """The module that judges, how many records, and what it found of each limit."""
    module, few = request.param
    records = int(os.environ.get("PITLOGGER_RECORDS", few))
    return module, records, list(module.cases(range(records)))


def test_nothing_is_met_that_the_judgement_does_not_show(
    judged: tuple[ModuleType, int, list[Any]],
) -> None:
    _, _, found = judged
    wrong = [case for case in found if case.met is True and case.truth is False]
    assert not wrong, wrong[:3]


def test_what_the_judgement_shows_is_met_but_for_few(
    judged: tuple[ModuleType, int, list[Any]],
) -> None:
    module, records, found = judged
    shown = [case for case in found if case.truth is True]
    if module is by_time:  # of its limits, time as a control; the others are judged elsewhere
        shown = [case for case in shown if case.limit == "time"]
        assert len(shown) > records / 20
        assert sum(case.met is True for case in shown) >= 0.9 * len(shown)
    else:
        assert len(shown) > records / 4
        assert sum(case.met is True for case in shown) >= 0.95 * len(shown) - 2
