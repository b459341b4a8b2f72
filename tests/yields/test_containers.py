"""Help at the scale: containers recognised, pieces proposed, nothing decided."""

import pytest

from pitlogger.model.cooks import Stage
from pitlogger.yields.weighing.containers import Container, Waiting, forgotten, propose, recognise

PANS = (Container("half-pan", 450, 2), Container("tray", 1210, 3))


@pytest.mark.parametrize(("mass_g", "found"), [(452, "half-pan"), (1205, "tray"), (800, None)])
def test_a_container_is_recognised_by_its_mass(mass_g: float, found: str | None) -> None:
    known = recognise(mass_g, PANS)
    assert (known.id if known else None) == found


def test_two_containers_that_fit_are_not_told_apart() -> None:
    assert recognise(451, (*PANS, Container("other-pan", 453, 2))) is None


def test_a_rise_as_heavy_as_a_pan_names_the_pan() -> None:
    assert forgotten(449, PANS) == "half-pan"
    assert forgotten(120, PANS) is None


COOK = [
    Waiting("brisket-1", Stage.SMOKING, "seasoned", 5225),
    Waiting("brisket-2", Stage.SMOKING, "seasoned", 7600),
    Waiting("butt-1", Stage.RESTING, "off-pit", 2900),
]


def test_a_steady_mass_is_proposed_as_the_piece_it_fits() -> None:
    best = propose(3912, COOK)[0]
    assert (best.piece, best.checkpoint) == ("brisket-1", "at-wrap")
    assert best.chance > 0.8
    assert best.question == "looks like brisket-1 at wrap, 3.912 kg steady: keep?"


def test_a_mass_that_fits_nothing_has_no_likely_proposal() -> None:
    assert all(proposal.chance < 0.1 for proposal in propose(700, COOK))


def test_a_piece_already_weighed_at_its_next_checkpoint_is_left_out() -> None:
    assert propose(2850, [Waiting("butt-1", Stage.RESTING, "rested", 2850)]) == []


def test_an_empty_scale_proposes_nothing() -> None:
    assert propose(0, COOK) == []
