"""Which stage may follow which."""

import pytest

from pitlogger.model.cooks import BEFORE_FIRE, Stage, may_follow


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        (Stage.RAW, Stage.SMOKING),
        (Stage.SMOKING, Stage.SMOKING),
        (Stage.WRAPPED, Stage.SMOKING),
        (Stage.RESTING, Stage.SMOKING),
        (Stage.HOLDING, Stage.CARVED),
        (Stage.SERVED, Stage.COOLING),
        (Stage.CHILLED, Stage.REHEATING),
        (Stage.RAW, Stage.DISCARDED),
    ],
)
def test_stages_may_be_skipped_and_repeated(earlier: Stage, later: Stage) -> None:
    assert may_follow(earlier, later)


@pytest.mark.parametrize("later", sorted(BEFORE_FIRE))
def test_cooked_meat_does_not_become_raw(later: Stage) -> None:
    assert not any(may_follow(earlier, later) for earlier in set(Stage) - BEFORE_FIRE)


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        (Stage.CARVED, Stage.WRAPPED),
        (Stage.SERVED, Stage.SMOKING),
        (Stage.DISCARDED, Stage.SERVED),
        (Stage.RAW, Stage.REHEATING),
    ],
)
def test_stages_out_of_order(earlier: Stage, later: Stage) -> None:
    assert not may_follow(earlier, later)
