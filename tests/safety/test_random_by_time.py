"""No time as a control is met that was not shown: random records against a judgement of their own.

``PITLOGGER_RECORDS=5000`` runs that many; the counts are printed by
``python -m tests.safety.independent.by_time 5000``.
"""

from __future__ import annotations

import os

import pytest

from tests.safety.independent.by_time import Case, cases

RECORDS = int(os.environ.get("PITLOGGER_RECORDS", "40"))


@pytest.fixture(scope="module")
def found() -> list[Case]:
    return list(cases(range(RECORDS)))


def test_nothing_is_met_that_the_judgement_does_not_show(found: list[Case]) -> None:
    wrong = [case for case in found if case.met is True and case.truth is False]
    assert not wrong, wrong[:3]


def test_what_the_judgement_shows_is_met_in_at_least_9_of_10(found: list[Case]) -> None:
    shown = [case for case in found if case.limit == "time" and case.truth is True]
    assert len(shown) > RECORDS / 20
    assert sum(case.met is True for case in shown) >= 0.9 * len(shown)
