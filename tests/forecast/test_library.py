"""The shipped library: whole, small, and what its recipe would make."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pytest

from pitlogger.errors import LibraryError
from pitlogger.forecast import library as shipped
from pitlogger.forecast.features import NAMES, _lowest_slope, features
from pitlogger.forecast.finish import forecast
from pitlogger.forecast.history import STEP_S, history
from pitlogger.forecast.library import arrival_row, library
from tests.benchmarks.measured import moments as measured_moments
from tests.forecast.made import request
from tools.forecast_library.build import held_out
from tools.forecast_library.plants import PLANTS
from tools.forecast_library.population import STRANGE, USUAL, simulate
from tools.forecast_library.snapshots import scoring


def test_the_file_is_at_most_300_kb() -> None:
    folder = resources.files("pitlogger.forecast") / "data"
    assert len((folder / "library.npz").read_bytes()) <= 300_000


def test_every_feature_has_a_name_and_a_finite_value() -> None:
    asked = request(4.0)
    past = history(asked)
    assert past is not None
    values = features(asked, past)
    assert len(values) == len(NAMES) == len(set(NAMES))
    assert np.isfinite(values).all()


def test_a_damaged_file_is_told_and_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shipped, "CHECKSUM", "library.npz")
    library.cache_clear()
    with pytest.raises((LibraryError, UnicodeDecodeError)):
        library()
    library.cache_clear()


@pytest.mark.parametrize("plant", PLANTS)
def test_the_same_seed_simulates_the_same_cooks(plant: str) -> None:
    one, other = (simulate(5, 3, plant, hours=1.0) for _ in range(2))
    assert np.array_equal(one.core_c, other.core_c)


def test_a_bent_cook_is_the_same_cook_by_another_clock() -> None:
    usual, bent = (simulate(5, 60, "two-node", draw, hours=12.0) for draw in (USUAL, STRANGE))
    assert np.array_equal(usual.mass_g, bent.mass_g)
    assert np.array_equal(usual.core_c[0], bent.core_c[0])
    warm = (usual.core_c.max(axis=0) > 55.0) & (bent.core_c.max(axis=0) > 55.0)
    took, anew = ((c.core_c >= 55.0).argmax(axis=0)[warm] for c in (usual, bent))
    longer = np.log(anew / took)
    assert abs(np.median(longer)) < 0.1
    assert 0.1 < longer.std() < 0.4
    # Wrapped where it was said, but for those wrapped by the clock.
    wrapped = (bent.wrapped_min >= 0) & np.isfinite(bent.wrap_at_c)
    at_c = bent.core_c[bent.wrapped_min[wrapped], np.flatnonzero(wrapped)]
    assert np.median(np.abs(at_c - bent.wrap_at_c[wrapped])) < 4.0


@pytest.mark.slow
def test_unseen_cooks_are_covered_and_nearer_than_by_their_slope() -> None:
    asked = [
        m for plant in PLANTS for m in scoring(held_out(25, plant), 5) if np.isfinite(m.left_h)
    ]
    inside, error, line, far = [], [], [], []
    for moment in asked:
        answer = forecast(moment.request, widen=False)
        if answer.p10_s is None or answer.p50_s is None or answer.p90_s is None:
            continue
        left_s = moment.left_h * 3600
        inside.append(answer.p10_s <= left_s <= answer.p90_s)
        error.append(abs(answer.p50_s - left_s))
        gap = moment.request.target_c - moment.past.level_c
        far.append(moment.moment in ("6h", "4h", "stall"))
        line.append(abs(3600 * gap / max(moment.past.slope_c_per_h(30), 0.3) - left_s))
    assert 0.68 <= np.mean(inside) <= 0.92
    assert np.median(np.array(error)[far]) < 0.6 * np.median(np.array(line)[far])
    assert np.median(error) < 0.75 * np.median(line)


def test_measured_records_are_inside_the_widened_interval_mostly() -> None:
    inside = []
    for moment in measured_moments():
        answer = forecast(moment.request)
        assert answer.widened
        if answer.p10_s is not None and answer.p90_s is not None:
            inside.append(answer.p10_s <= moment.left_h * 3600 <= answer.p90_s)
    assert len(inside) >= 12
    assert np.mean(inside) >= 0.7


def test_an_update_needs_no_more_than_a_fraction_of_ten_megabytes() -> None:
    import tracemalloc

    forecast(request(6.0))
    tracemalloc.start()
    forecast(request(12.0))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5_000_000


@pytest.mark.parametrize("wrap", ["wrapped_foil", "wrapped_paper"])
def test_either_wrap_tells_the_chance_of_arrival_that_it_is_wrapped(wrap: str) -> None:
    bare = np.zeros(len(NAMES))
    wrapped = bare.copy()
    wrapped[NAMES.index(wrap)] = 1.0
    told = arrival_row(0.5, wrapped, 2.0) - arrival_row(0.5, bare, 2.0)
    assert told.tolist() == [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0]


def test_the_lowest_slope_is_looked_for_from_about_the_stall_on() -> None:
    core_c = np.interp(
        np.arange(85) * STEP_S / 3600.0, [0, 1, 3, 5, 7], [20.0, 20.5, 58.0, 59.0, 75.0]
    )
    slope, hours_since = _lowest_slope(core_c)
    assert slope == pytest.approx(0.5)  # not the first hour's, when the meat was cold
    assert np.expm1(hours_since) == pytest.approx(3.0, abs=1.05)


def test_a_record_of_half_an_hour_begun_in_mid_cook_has_its_present_slope_for_the_lowest() -> None:
    slope, hours_since = _lowest_slope(np.linspace(60.0, 62.0, 7))
    assert slope == pytest.approx(4.0)
    assert hours_since == 0.0
