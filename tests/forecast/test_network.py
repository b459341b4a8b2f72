"""The small networks: what they learn, that they learn it again, and how phases part cooks."""

from __future__ import annotations

import numpy as np
import pytest

from pitlogger.forecast.features import NAMES
from pitlogger.forecast.library import library
from pitlogger.forecast.phase import PHASES, phase_of
from tools.forecast_library.networks import fit_networks


def made(n: int = 8000) -> tuple[np.ndarray, np.ndarray]:
    """Return inputs and an answer that bends with one and is noisier with another."""
    dice = np.random.default_rng(11)
    z = dice.standard_normal((n, 4))
    noise = dice.laplace(0.0, np.where(z[:, 1] > 0, 0.4, 0.1))
    return z, np.abs(z[:, 0]) + noise


def test_networks_learn_the_median_and_how_far_off_it_is() -> None:
    z, y = made()
    said = fit_networks(z, y, seed=1, count=2, rounds=12).say(z)
    assert np.mean(np.abs(said[:, 0] - np.abs(z[:, 0]))) < 0.08
    noisy, quiet = (np.median(np.exp(said[side, 1])) for side in (z[:, 1] > 1, z[:, 1] < -1))
    assert noisy == pytest.approx(0.4, rel=0.25)
    assert quiet == pytest.approx(0.1, rel=0.5)


def test_the_same_seed_gives_the_same_networks() -> None:
    z, y = made(2000)
    one, other = (fit_networks(z, y, seed=1, count=1, rounds=2) for _ in range(2))
    assert np.array_equal(one.say(z), other.say(z))


def test_phases_part_by_what_is_left_and_by_a_stall() -> None:
    seen = np.zeros(len(NAMES))
    seen[NAMES.index("level")], seen[NAMES.index("rise_60")] = 70.0, 2.0
    rising = seen.copy()
    rising[NAMES.index("rise_60")] = 9.0
    hours = (1.0, 2.0, 4.0, 8.0)
    assert [phase_of(rising, float(np.log(h))) for h in hours] == [0, 1, 2, 3]
    assert [phase_of(seen, float(np.log(h))) for h in hours] == [4, 5, 6, 7]


def test_every_phase_has_scores_of_its_own_in_order() -> None:
    scores = library().scores
    assert scores.shape == (PHASES, 30)
    assert (np.diff(scores, axis=1) >= 0).all()
    assert (scores[:, 0] < -0.5).all()
    assert (scores[:, -1] > 0.5).all()
