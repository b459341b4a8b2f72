"""An index of tenderness: how much of the collagen at the core has softened, 0 to 1.

It annotates a tender check and a pull; it never raises or withholds one. Only a probe in the
thickest part tells. From memory, calibrated on cooking practice, no source: first order,
1.05e-4 a second at 90 C, 95 kJ/mol (half in 1.2 h at 95 C, in 14 h at 68 C).
"""

from __future__ import annotations

from math import exp, log

from pitlogger.model.cooks import Piece
from pitlogger.model.quantities import show_duration

RATE_PER_S_90C = 1.05e-4
ENERGY_J_MOL = 95_000.0
_GAS_J_MOL_K = 8.314462618
_K_90C = 363.15
TENDER_FROM, TENDER_TO = 0.75, 0.9  # from memory; above 0.95 it falls apart
UNSURE = (0.7, 1.4)  # least and most that meat may soften by, against this rate (from memory)
LONGEST_S = 6 * 3600.0  # further ahead the core will not stay as it is
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
    return 1.0 - (1.0 - share) * exp(-_rate_per_s(core_mc) * seconds)


def index_range(share: float) -> tuple[float, float]:
    """Return between what the index lies, the rate of softening not being known well."""
    low, high = (1.0 - (1.0 - share) ** by for by in UNSURE)
    return low, high


def tender_in_s(share: float, core_mc: int) -> tuple[float, float]:
    """Return the seconds until ``TENDER_FROM`` at a core that stays as it is, least and most."""
    late, soon = (
        max(0.0, (log(1.0 - share) - log(1.0 - TENDER_FROM) / by) / _rate_per_s(core_mc))
        for by in UNSURE
    )
    return soon, late


def index_words(share: float, core_mc: int) -> str:
    """Return the index as it is shown beside a prompt."""
    low, high = index_range(share)
    words = f"tenderness index {low:.2f} to {high:.2f} (tender from about {TENDER_FROM:g}"
    soon_s, late_s = tender_in_s(share, core_mc)
    if late_s >= 60.0 and soon_s <= LONGEST_S:
        late = show_duration(late_s * 1000)
        soon = show_duration(soon_s * 1000)
        words += (
            f", at this core within {late}" if soon_s < 60.0 else
            f", at this core in {soon} to {late}"
        )  # fmt: skip
    return f"{words}; the probe decides)"


def _rate_per_s(core_mc: int) -> float:
    kelvin = core_mc / 1000 + 273.15
    return RATE_PER_S_90C * exp(-ENERGY_J_MOL / _GAS_J_MOL_K * (1 / kelvin - 1 / _K_90C))
