"""Leftovers: nothing is met that was not shown, by random records and a judgement of their own.

``PITLOGGER_RECORDS=5000`` runs that many; the counts are printed by
``python -m tests.safety.independent.leftovers 5000``.
"""

from __future__ import annotations

import os

import pytest

from tests.safety.independent.leftovers import Case, cases

RECORDS = int(os.environ.get("PITLOGGER_RECORDS", "100"))


@pytest.fixture(scope="module")
def found() -> list[Case]:
    return list(cases(range(RECORDS)))


def test_nothing_is_met_that_the_judgement_does_not_show(found: list[Case]) -> None:
    wrong = [case for case in found if case.met is True and case.truth is False]
    assert not wrong, wrong[:3]


def test_what_the_judgement_shows_is_met_in_at_least_95_of_100(found: list[Case]) -> None:
    shown = [case for case in found if case.truth is True]
    assert len(shown) > RECORDS / 4
    assert sum(case.met is True for case in shown) >= 0.95 * len(shown) - 2
