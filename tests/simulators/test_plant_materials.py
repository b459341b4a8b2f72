"""Food, vapour and wet surfaces against tables and against CoolProp and psychrolib.

``food_properties_check.csv``: Choi and Okos 1986 and mixtures; its water rows are IAPWS.
``water_vapour_check.csv``: IAPWS by CoolProp. ``wet_bulb_check.csv``: psychrolib, CoolProp and
the film balance solved with scipy.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import psychrolib  # type: ignore[import-untyped]
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from pitlogger_simulators.plant.properties import COMPONENTS, Composition, component, mixture
from pitlogger_simulators.plant.vapour import (
    STANDARD_PRESSURE_PA,
    VAPOUR_GAS_CONSTANT,
    ZERO_K,
    boiling_c,
    humidity_ratio,
    latent_j_kg,
    mass_transfer_m_s,
    saturation_pa,
    vapour_pressure_pa,
)

DATA = Path(__file__).parent.parent / "data"
MIXTURES = {
    "lean beef": Composition(0.74, 0.215, 0.035, 0.01),
    "brisket trimmed": Composition(0.65, 0.19, 0.15, 0.01),
    "cooked brisket": Composition(0.52, 0.29, 0.175, 0.015),
    "pork shoulder": Composition(0.655, 0.175, 0.16, 0.01),
    "beef fat cover": Composition(0.15, 0.05, 0.80),
}


def wet_surface_c(
    air_c: float,
    vapour_pa: float,
    convection: float = 10.0,
    radiation: float = 0.0,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> float:
    """Return the temperature of a fully wet surface that gains no heat from below.

    Heat from air (and from walls as warm as the air) meets evaporation with Stefan flow.
    With no radiation this lies up to 1 C below the thermodynamic wet bulb. Bisection
    between dew point and dry bulb cannot fail in hot wet air, as iterations do.
    """
    low, high = boiling_c(max(vapour_pa, 1.0)), min(air_c, boiling_c(pressure_pa) - 1e-6)
    for _ in range(60):
        middle = 0.5 * (low + high)
        film = 0.5 * (middle + air_c)
        flux = (
            mass_transfer_m_s(convection, film)
            * pressure_pa
            / (VAPOUR_GAS_CONSTANT * (film + ZERO_K))
            * math.log((pressure_pa - vapour_pa) / (pressure_pa - saturation_pa(middle)))
        )
        gain = (convection + radiation) * (air_c - middle) - latent_j_kg(middle) * flux
        low, high = (middle, high) if gain > 0 else (low, middle)
    return 0.5 * (low + high)


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


FOOD = rows("food_properties_check.csv")
COMPONENT_ROWS = [r for r in FOOD if r["kind"] == "component"]
MIXTURE_ROWS = [r for r in FOOD if r["kind"].startswith("mixture")]
WATER_ROWS = [r for r in FOOD if r["kind"] == "pure water reference"]
WET_ROWS = rows("wet_bulb_check.csv")


@pytest.mark.parametrize("row", COMPONENT_ROWS, ids=lambda r: f"{r['name']}-{r['T_C']}")
def test_components_are_those_of_the_tables(row: dict[str, str]) -> None:
    got = component(row["name"], float(row["T_C"]))
    assert got.heat_capacity / 1000 == pytest.approx(float(row["cp_kJ_kgK"]), abs=2e-5)
    assert got.conductivity == pytest.approx(float(row["k_W_mK"]), abs=2e-5)
    assert got.density == pytest.approx(float(row["rho_kg_m3"]), abs=2e-3)


@pytest.mark.parametrize("row", MIXTURE_ROWS, ids=lambda r: f"{r['name'][:14]}-{r['T_C']}")
def test_mixtures_are_those_of_the_tables(row: dict[str, str]) -> None:
    made = next(made for name, made in MIXTURES.items() if row["name"].startswith(name))
    got = mixture(made, float(row["T_C"]))
    assert got.heat_capacity / 1000 == pytest.approx(float(row["cp_kJ_kgK"]), rel=2e-4)
    assert got.conductivity == pytest.approx(float(row["k_W_mK"]), rel=3e-4)
    assert got.density == pytest.approx(float(row["rho_kg_m3"]), rel=2e-4)
    assert got.diffusivity == pytest.approx(float(row["alpha_m2_s"]), rel=5e-4)


@pytest.mark.parametrize("row", WATER_ROWS, ids=lambda r: r["T_C"])
def test_water_of_the_tables_is_nearly_water(row: dict[str, str]) -> None:
    """A swapped sign or a wrong exponent in circulation would be far outside."""
    got = component("water", float(row["T_C"]))
    assert got.heat_capacity / 1000 == pytest.approx(float(row["cp_kJ_kgK"]), rel=0.02)
    assert got.conductivity == pytest.approx(float(row["k_W_mK"]), rel=0.025)
    assert got.density == pytest.approx(float(row["rho_kg_m3"]), rel=0.004)


@pytest.mark.parametrize("temperature_c", [10.0, 35.0, 60.0, 90.0])
def test_water_of_the_tables_is_nearly_that_of_coolprop(temperature_c: float) -> None:
    kelvin = temperature_c + 273.15
    got = component("water", temperature_c)
    assert got.heat_capacity == pytest.approx(
        PropsSI("C", "T", kelvin, "P", 1e5, "Water"), rel=0.02
    )
    assert got.density == pytest.approx(PropsSI("D", "T", kelvin, "P", 1e5, "Water"), rel=0.004)


def test_every_component_of_a_composition_has_its_row() -> None:
    assert {r["name"] for r in COMPONENT_ROWS} == set(COMPONENTS)


@pytest.mark.parametrize("row", rows("water_vapour_check.csv"), ids=lambda r: r["T_C"])
def test_saturation_and_latent_heat_follow_iapws(row: dict[str, str]) -> None:
    temperature_c = float(row["T_C"])
    assert saturation_pa(temperature_c) == pytest.approx(float(row["antoine_Pa"]), rel=1e-5)
    assert saturation_pa(temperature_c) == pytest.approx(float(row["psat_Pa"]), rel=0.0060)
    assert latent_j_kg(temperature_c) / 1000 == pytest.approx(
        float(row["latent_fit_kJ_kg"]), abs=0.06
    )
    assert latent_j_kg(temperature_c) / 1000 == pytest.approx(
        float(row["latent_kJ_kg"]), rel=0.0012
    )


@pytest.mark.parametrize("temperature_c", [12.0, 47.0, 68.0, 88.0, 108.0])
def test_saturation_follows_coolprop(temperature_c: float) -> None:
    exact = PropsSI("P", "T", temperature_c + 273.15, "Q", 0, "Water")
    assert saturation_pa(temperature_c) == pytest.approx(exact, rel=0.006)
    assert boiling_c(exact) == pytest.approx(temperature_c, abs=0.15)


@pytest.mark.parametrize("ratio", [0.005, 0.03, 0.2])
def test_humidity_ratio_and_vapour_pressure_are_those_of_psychrolib(ratio: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    exact = psychrolib.GetVapPresFromHumRatio(ratio, STANDARD_PRESSURE_PA)
    assert vapour_pressure_pa(ratio) == pytest.approx(exact, rel=1e-4)
    assert humidity_ratio(exact) == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize(
    "row", WET_ROWS, ids=lambda r: f"{r['pit_F']}F-{r['humidity_ratio_kg_kg']}"
)
def test_wet_surfaces_settle_where_the_film_balance_says(row: dict[str, str]) -> None:
    air_c = float(row["pit_C"])
    vapour = vapour_pressure_pa(float(row["humidity_ratio_kg_kg"]))
    plain = wet_surface_c(air_c, vapour)
    assert plain == pytest.approx(float(row["wet_surface_convection_only_C"]), abs=0.15)
    assert wet_surface_c(air_c, vapour, 10.0, 8.5) == pytest.approx(
        float(row["wet_surface_with_radiation_C"]), abs=0.15
    )
    below = float(row["wet_bulb_coolprop_C"]) - plain
    assert -0.05 <= below <= 1.2, "a film balance lies 0.1 to 1 C below the wet bulb"


@pytest.mark.parametrize("air_c", [93.3, 107.2, 121.1])
@pytest.mark.parametrize("ratio", [0.02, 0.12, 0.25])
def test_wet_surfaces_lie_just_under_the_wet_bulb_of_coolprop(air_c: float, ratio: float) -> None:
    wet_bulb_k = HAPropsSI("B", "T", air_c + 273.15, "P", STANDARD_PRESSURE_PA, "W", ratio)
    below = wet_bulb_k - 273.15 - wet_surface_c(air_c, vapour_pressure_pa(ratio))
    assert -0.05 <= below <= 1.2


def test_a_wet_surface_has_an_answer_where_iterations_fail() -> None:
    """At 275 F and a humidity ratio of 0.3 a usual wet-bulb routine returns the dry bulb."""
    settled = wet_surface_c(135.0, vapour_pressure_pa(0.30))
    assert 71.0 < settled < 75.0


def test_thin_air_lowers_the_ceiling_of_boiling() -> None:
    assert boiling_c(95_000.0) == pytest.approx(98.2, abs=0.15)
