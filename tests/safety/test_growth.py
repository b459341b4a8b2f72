"""Growth: rates and integrals against published parameters, scipy and a challenge study.

Sources: Food Microbiology 28:791 (2011) and the others in the parameter file; the 2024
challenge study of uncured turkey (48.9, 26.7, 12.8, 4.4 C).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from pitlogger.safety.growth import GrowthClock, growth, growth_log10, models
from pitlogger.safety.history import curve
from tests.safety.building import HOUR, RETAIL, history, line, vectors


def profiles() -> dict[str, list[tuple[float, float]]]:
    """Return the published cooling profiles as (hours, C) points."""
    found: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for row in vectors("cooling_profiles.csv"):
        found[row["profile_id"]].append((float(row["time_h"]), float(row["temp_c"])))
    return found


def integrate(points: list[tuple[float, float]], model: str, unit: str) -> GrowthClock:
    clock = GrowthClock(model, unit)
    for hours, temp_c in points:
        clock.update(round(hours * HOUR), temp_c * 1000)
    return clock


def as_published(points: list[tuple[float, float]], model: str) -> float:
    """Return the integral of the rate in the model's own unit."""
    clock = integrate(points, model, "1/h")
    per = math.log(10) if models()[model].rate_unit == "log10/h" else 1.0
    return clock.integral / per


def test_every_published_model_ships_with_its_unit_and_source() -> None:
    assert set(models()) == {row["model_id"] for row in vectors("growth_model_parameters.csv")}
    for model in models().values():
        assert model.rate_unit in ("log10/h", "1/h", "policy")
        assert model.source


def test_parameters_equal_the_published_ones() -> None:
    names = {"Tmin": "t_min", "Tmax": "t_max", "Topt": "t_opt", "mu_opt": "rate_opt", "a": "b2"}
    for row in vectors("growth_model_parameters.csv"):
        if models()[row["model_id"]].form == "salt-ph":
            continue  # printed as a formula; its rates are tested below
        held = models()[row["model_id"]].parameters
        for part in row["parameters"].split(";"):
            name, _, text = part.partition("=")
            if name == "b":
                assert math.sqrt(held["b2"]) == pytest.approx(float(text), abs=1e-9)
            else:
                assert held[names.get(name, name)] == float(text)


def test_rates_equal_the_published_vectors() -> None:
    for row in vectors("growth_rate_vectors.csv"):
        rate = models()[row["model_id"]].rate(float(row["temp_c"]))
        assert rate == pytest.approx(float(row["rate_as_encoded"]), abs=2e-6), row


def test_integrals_and_growth_equal_the_published_vectors() -> None:
    known = profiles()
    for row in vectors("cooling_growth_vectors.csv"):
        points, model = known[row["profile_id"]], row["model_id"]
        integral = as_published(points, model)
        assert integral == pytest.approx(float(row["integral_of_rate"]), abs=2e-4), row
        if not row["lag_log10_if_rate_is_log10"]:
            continue
        natural, log10 = (integrate(points, model, unit) for unit in ("1/h", "log10/h"))
        expected = {name: float(row[name]) for name in row if "_if_rate_" in name}
        assert growth_log10(natural.integral, None) == pytest.approx(
            expected["no_lag_log10_if_rate_is_natural"], abs=6e-4
        )
        assert natural.log10 == pytest.approx(expected["lag_log10_if_rate_is_natural"], abs=6e-4)
        assert growth_log10(log10.integral, None) == pytest.approx(
            expected["no_lag_log10_if_rate_is_log10"], abs=6e-4
        )
        assert log10.log10 == pytest.approx(expected["lag_log10_if_rate_is_log10"], abs=6e-4)


def test_predictions_for_the_challenge_study_equal_the_published_ones() -> None:
    for row in vectors("cooling_growth_vs_challenge_study.csv"):
        first_h = float(row["phase1_hours_48.9_to_26.7C"])
        points = [(0.0, 48.9), (first_h, 26.7), (first_h + 5, 12.8), (first_h + 10, 4.4)]
        for unit, column in (
            ("1/h", "predicted_log10_rate_natural"),
            ("log10/h", "predicted_log10_rate_log10"),
        ):
            found = integrate(points, row["model_id"], unit).log10
            assert found == pytest.approx(float(row[column]), abs=0.0015), row


@pytest.mark.parametrize("model", ["CP_beef_2011", "CP_chicken_2011", "CP_pork_2011"])
@pytest.mark.parametrize("profile", ["fsis_option1", "food_code_limit", "deviation_3h_7h"])
def test_the_exact_form_equals_the_differential_equations(model: str, profile: str) -> None:
    """dQ/dt = mu Q, d ln N/dt = mu Q/(1 + Q): Baranyi and Roberts without a ceiling."""
    points = profiles()[profile]
    hours, temps = zip(*points, strict=True)
    q0 = models()[model].q0
    assert q0 is not None

    def slope(t_h: float, state: Sequence[float]) -> list[float]:
        rate = models()[model].per_hour(float(np.interp(t_h, hours, temps)), "log10/h")
        q = math.exp(min(state[0], 600.0))
        return [rate, rate * q / (1 + q)]

    solved = solve_ivp(
        slope, (hours[0], hours[-1]), [math.log(q0), 0.0], rtol=1e-9, atol=1e-10, max_step=0.02
    )
    assert integrate(points, model, "log10/h").log10 == pytest.approx(
        solved.y[1, -1] / math.log(10), abs=2e-5
    )


def test_growth_reading_by_reading_equals_growth_in_one_stretch() -> None:
    points = [(hours / 60, 54.4 - 40 * hours / 600) for hours in range(601)]
    ends = [points[0], points[-1]]
    close = integrate(points, "CP_beef_2011", "log10/h").log10
    assert close == pytest.approx(integrate(ends, "CP_beef_2011", "log10/h").log10, abs=1e-3)


def test_a_long_warm_time_does_not_overflow() -> None:
    assert growth_log10(5000.0, 0.0105) == pytest.approx(
        (5000 + math.log(0.0105) - math.log(1.0105)) / math.log(10)
    )


def test_growth_is_a_warning_and_never_a_verdict() -> None:
    slow = history(
        line((0, 135), (600, 60)), stages=((0.0, "resting"), (10.0, "cooling")), cut="pork-butt"
    )
    verdict = growth(slow, curve(slow, RETAIL.max_gap.ms), RETAIL)
    assert verdict.applies
    assert verdict.met is None
    assert "above 1" in verdict.reason
    assert "log10/h" in verdict.reason


def test_growth_of_a_piece_without_a_probe_is_not_shown() -> None:
    piece = history(stages=((0.0, "resting"), (10.0, "cooling")), end_min=60)
    assert growth(piece, [], RETAIL).met is None
