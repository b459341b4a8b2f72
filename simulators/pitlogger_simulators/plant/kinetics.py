"""What heat does to meat: juice let go, fat rendered, collagen softened.

Temperatures in degrees Celsius, rates per second. Every function takes arrays.
"""

from __future__ import annotations

import numpy as np

from pitlogger_simulators.plant.properties import Array

GAS_CONSTANT = 8.314  # J/(mol K)

# Water-holding curve, kg of water per kg of raw lean meat. Form: van der Sman 2007 (AIChE
# Journal) and followers; 0.745 and 0.345 as published in one academic code of that family,
# with centre 52 C and slope 0.25 per C as defaults in parameters.py.
RAW_WATER = 0.745
WATER_LET_GO = 0.345
_ONSET = 30.0

# Juice: activation energy fitted here; the rate at 60 C is a parameter.
EXPULSION_J_MOL = 80_000.0
# Bark: proteins and fat of the surface set; fitted here. It depends on the temperature of the
# surface alone, so what keeps a surface warmer (wet air, a wrap) can only end a stall sooner.
BARK_J_MOL = 30_000.0
# Fat: melts from 25 to 45 C (from memory), then renders; rates assumed. What can render is
# mostly gone after some hours at 80 C, so that a long bare cook loses little more of it than
# a short one in foil.
FAT_MELTS_C = (25.0, 45.0)
RENDER_PER_S_70C = 8.0e-5
RENDER_J_MOL = 70_000.0
# Collagen index: half in 1.2 h at 95 C, 14 h at 68 C. Calibrated on cooking practice, from
# memory. It is an index, not tenderness: 0.75 to 0.9 means tender, above 0.95 falling apart.
COLLAGEN_PER_S_90C = 1.05e-4
COLLAGEN_J_MOL = 95_000.0


def arrhenius(inverse_k: Array, energy_j_mol: float, reference_k: float) -> Array:
    """Return a rate relative to that at a reference temperature.

    Args:
        inverse_k: One over the absolute temperature.
        energy_j_mol: Activation energy.
        reference_k: Absolute temperature at which the result is one.
    """
    slope = -energy_j_mol / GAS_CONSTANT
    return np.exp(slope * inverse_k - slope / reference_k)


def held_water(temperature_c: Array, centre_c: Array | float, slope_per_c: Array | float) -> Array:
    """Return the share of its raw water which lean meat still holds, 0 to 1."""
    bend = 1.0 + _ONSET * np.exp(-slope_per_c * (temperature_c - centre_c))
    return 1.0 - (WATER_LET_GO / RAW_WATER) / bend


def melted_share(temperature_c: Array) -> Array:
    """Return the share of fat that is liquid, 0 to 1."""
    first, last = FAT_MELTS_C
    return np.minimum(np.maximum((temperature_c - first) / (last - first), 0.0), 1.0)


def water_activity(water_per_solids: Array) -> Array:
    """Return the water activity of drying meat.

    Source: Oswin's form of the sorption isotherm; constant from memory.
    """
    squared = water_per_solids * water_per_solids
    return squared / (squared + 0.14 * 0.14)
