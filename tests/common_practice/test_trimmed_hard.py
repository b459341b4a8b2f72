"""Common practice, no source: check values only, never a default."""

import pytest

from pitlogger.formats.written_mass import parse_weights
from pitlogger.yields.ledger import accounts
from pitlogger.yields.records import from_weights


def test_a_packer_trimmed_hard_may_end_at_37_percent_of_purchase() -> None:
    weights = "purchased=6.105kg,trimmed=3.820kg,seasoned=3.860kg,at-wrap=2.625kg,rested=2.270kg"
    (one,) = accounts([from_weights(parse_weights(weights), "brisket-packer")])
    ratios = {step.end: step.ratio.value for step in one.steps}
    assert one.servable_yield is not None
    assert ratios["trimmed"] == pytest.approx(0.626, abs=5e-4)
    assert ratios["seasoned"] - 1 == pytest.approx(0.0105, abs=5e-5)
    assert one.servable_yield.value == pytest.approx(0.372, abs=5e-4)
    assert sum(x.value for x in one.losses_g.values()) / 6105 == pytest.approx(0.628, abs=5e-4)
    assert one.doubts == ()


@pytest.mark.parametrize("dried", ["5.2kg", "5.0kg"])
def test_jerky_at_48_to_50_percent_loss_is_not_doubted(dried: str) -> None:
    (one,) = accounts(
        [from_weights(parse_weights(f"purchased=10.4kg,trimmed=10kg,off-pit={dried}"))]
    )
    assert one.steps[-1].ratio.value in (pytest.approx(0.52), pytest.approx(0.50))
    assert one.doubts == ()
