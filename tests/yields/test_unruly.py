"""Whatever else rests on the scale, nothing is kept for a piece that it is not."""

from __future__ import annotations

import pytest

from tests.yields.unruly import Unruly
from tests.yields.weighing_score import judged


@pytest.mark.parametrize("seed", [4, 8])
def test_no_cat_phone_hand_pair_or_second_weighing_is_kept(seed: int) -> None:
    found = judged(seed, Unruly)
    assert found["kept", True] + found["asked", True] + found["told by one answer", True] > 2
    assert found["kept", False] == 0
