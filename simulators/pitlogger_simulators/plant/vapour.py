"""Water vapour: saturation, latent heat, humidity of air, and the way off a wet surface.

Temperatures in degrees Celsius, pressures in pascal, humidity ratio in kg of water per kg
of dry air. Every function takes floats or arrays.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from pitlogger_simulators.plant.properties import Array, Value

Number = TypeVar("Number", float, Array, Value)

STANDARD_PRESSURE_PA = 101_325.0
VAPOUR_GAS_CONSTANT = 461.5  # J/(kg K), water
AIR_TO_WATER = 0.62198  # ratio of the molar masses of water and dry air (ASHRAE Fundamentals)
ZERO_K = 273.15

# Antoine form fitted here to IAPWS water, within 0.55 % from 5 to 110 C.
_A, _B, _C = 16.3872, 3885.70, 230.170
# Latent heat, a straight line through IAPWS values, within 0.1 % from 5 to 99 C; J/kg.
_LATENT_0, _LATENT_SLOPE = 2.501e6, -2420.0
# Lewis number of water vapour in air to the power 2/3 (textbook value, from memory).
LEWIS_TWO_THIRDS = 0.90
_AIR_HEAT_CAPACITY = 1009.0  # J/(kg K), near 80 C (textbook value, from memory)
_DRY_AIR_GAS_CONSTANT = 287.05  # J/(kg K)


def saturation_pa(temperature_c: Number) -> Number:
    """Return the saturation pressure of water, pascal."""
    return 1000.0 * np.exp(_A - _B / (temperature_c + _C))  # type: ignore[no-any-return]


def saturation_slope(temperature_c: Number, pressure_pa: Number) -> Number:
    """Return the slope of the saturation pressure, Pa/K, where that pressure is known."""
    above = temperature_c + _C
    return pressure_pa * _B / (above * above)


def boiling_c(pressure_pa: Number) -> Number:
    """Return the temperature at which the saturation pressure is ``pressure_pa``."""
    return _B / (_A - np.log(pressure_pa / 1000.0)) - _C  # type: ignore[no-any-return]


def latent_j_kg(temperature_c: Number) -> Number:
    """Return the latent heat of evaporation, J/kg."""
    return _LATENT_0 + _LATENT_SLOPE * temperature_c


def vapour_pressure_pa(
    humidity_ratio: Number, pressure_pa: Number | float = STANDARD_PRESSURE_PA
) -> Number:
    """Return the partial pressure of water in air of a humidity ratio."""
    return pressure_pa * humidity_ratio / (AIR_TO_WATER + humidity_ratio)


def humidity_ratio(vapour_pa: Number, pressure_pa: float = STANDARD_PRESSURE_PA) -> Number:
    """Return the humidity ratio of air with a partial pressure of water."""
    return AIR_TO_WATER * vapour_pa / (pressure_pa - vapour_pa)


def mass_transfer_m_s(convection: Number, film_c: Number) -> Number:
    """Return the mass transfer coefficient from that of convection (Lewis analogy), m/s.

    Only convection drives vapour; radiation does not.
    """
    density = STANDARD_PRESSURE_PA / (_DRY_AIR_GAS_CONSTANT * (film_c + ZERO_K))
    return convection / (density * _AIR_HEAT_CAPACITY * LEWIS_TWO_THIRDS)
