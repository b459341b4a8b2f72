"""An index of tenderness: how much of the collagen at the core has softened, 0 to 1.

It annotates a tender check and a pull; it never raises or withholds one. Only a probe in the
thickest part tells. From memory, calibrated on cooking practice, no source: first order,
1.05e-4 a second at 90 C, 95 kJ/mol (half in 1.2 h at 95 C, in 14 h at 68 C).
"""

from __future__ import annotations

from math import exp

from pitlogger.model.cooks import Piece

RATE_PER_S_90C = 1.05e-4
ENERGY_J_MOL = 95_000.0
_GAS_J_MOL_K = 8.314462618
_K_90C = 363.15
TENDER_FROM, TENDER_TO = 0.75, 0.9  # from memory; above 0.95 it falls apart
_LEAST_MC = 45_000  # under it nothing worth counting happens within a day
_FAMILIES = frozenset(
    {"brisket", "pork-shoulder", "pork-belly", "pork-ribs", "beef-ribs", "lamb"}
)  # fmt: skip
_CUTS = frozenset({"beef-chuck"})


def has_index(piece: Piece) -> bool:
    """Return whether a piece is one that is cooked until its collagen is soft."""
    return piece.family in _FAMILIES or piece.cut in _CUTS


def softened(share: float, core_mc: int, seconds: float) -> float:
    """Return the softened share after some time at a core temperature, milli-degC."""
    if core_mc < _LEAST_MC:
        return share
    kelvin = core_mc / 1000 + 273.15
    rate = RATE_PER_S_90C * exp(-ENERGY_J_MOL / _GAS_J_MOL_K * (1 / kelvin - 1 / _K_90C))
    return 1.0 - (1.0 - share) * exp(-rate * seconds)


def index_words(share: float) -> str:
    """Return the index as it is shown beside a prompt."""
    return f"tenderness index {share:.2f} (tender from about {TENDER_FROM:g}; the probe decides)"
