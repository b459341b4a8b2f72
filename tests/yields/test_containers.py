"""Help at the scale: containers recognised, nothing decided."""

import pytest

from pitlogger.yields.weighing.containers import Container, forgotten, recognise

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
