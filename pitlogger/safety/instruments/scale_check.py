"""Checks of scales against class III tolerances.

Load is counted in verification intervals, n = load / e. Most kitchen scales carry no class
mark: then e is the scale interval and the class is a yardstick.

Sources: NIST Handbook 44 section 2.20, Tables 3 and 6 (read in secondary copies); OIML
R 76-1 Table 6 and Directive 90/384/EEC. Smallest sensible load 20 e: Canadian field manual.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from pitlogger.errors import QuantityError, unknown
from pitlogger.safety import shipped

KINDS: dict[str, tuple[str, ...]] = {
    "hb44": ("acceptance", "maintenance"),
    "oiml": ("verification", "in-service"),
}
N_MAX = 10_000
N_LEAST = 20
E_LEAST_MG = 100  # class III begins at e = 0.1 g


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """What a check with a test mass found, all in milligrams."""

    expected_mg: int
    reading_mg: int
    interval_mg: int
    error_mg: float
    tolerance_mg: float
    divisions: float
    source: str
    notes: tuple[str, ...] = ()

    @property
    def is_within(self) -> bool:
        return abs(self.error_mg) <= self.tolerance_mg + 1e-9

    @property
    def offset_mg(self) -> float:
        return -self.error_mg


def tolerance_e(divisions: float | Fraction, region: str, kind: str) -> tuple[float, str]:
    """Return the class III tolerance in intervals for a load in intervals, and its source.

    Raises:
        QuantityError: Unknown region or kind, or a load below nothing or above 10 000 e.
    """
    if region not in KINDS:
        raise QuantityError(unknown("region", region, KINDS))
    if kind not in KINDS[region]:
        raise QuantityError(
            f"region '{region}' has no '{kind}' tolerances: use {' or '.join(KINDS[region])}"
        )
    if not 0 <= divisions <= N_MAX:
        raise QuantityError(
            f"a load of {float(divisions):g} intervals is outside class III (0 to {N_MAX})"
        )
    row = next(
        row
        for row in shipped.rows("scale_tolerances.csv")
        if (row["region"], row["kind"]) == (region, kind) and divisions <= int(row["up_to_n"])
    )
    return float(row["tolerance_e"]), row["source"]


def scale_check(
    mass_mg: int,
    reading_mg: int,
    interval_mg: int,
    region: str = "hb44",
    kind: str = "maintenance",
    *,
    added_mg: int | None = None,
    capacity_mg: int | None = None,
) -> ScaleCheck:
    """Return the check of a scale with one test mass.

    Args:
        mass_mg: The test mass, above zero.
        reading_mg: What the scale showed.
        interval_mg: Verification interval e, or the scale interval where there is no mark.
        region: ``hb44`` or ``oiml``.
        kind: ``acceptance`` or ``maintenance``; ``verification`` or ``in-service``.
        added_mg: Small mass added until the display steps to the next interval; with it the
            error is free of rounding: reading + e/2 - added - mass (OIML R 76-1 A.4.4.3,
            from memory).
        capacity_mg: Largest load of the scale, if known.

    Raises:
        QuantityError: A mass that is not above zero, an interval outside class III, a load
            above the capacity or above 10 000 intervals.
    """
    for what, value_mg in (("test mass", mass_mg), ("interval", interval_mg)):
        if value_mg <= 0:
            raise QuantityError(f"the {what} must be above zero")
    if interval_mg < E_LEAST_MG:
        raise QuantityError("class III begins at an interval of 0.1 g; this one is finer")
    if capacity_mg is not None and mass_mg > capacity_mg:
        raise QuantityError("the test mass is above the capacity of the scale")
    if added_mg is not None and not 0 <= added_mg <= interval_mg:
        raise QuantityError("the added mass lies between nothing and one interval")
    divisions = Fraction(mass_mg, interval_mg)
    steps, source = tolerance_e(divisions, region, kind)
    error_mg = float(reading_mg - mass_mg)
    if added_mg is not None:
        error_mg += interval_mg / 2 - added_mg
    return ScaleCheck(
        mass_mg, reading_mg, interval_mg, error_mg, steps * interval_mg, float(divisions), source,
        tuple(_notes(mass_mg, interval_mg, added_mg, capacity_mg)),
    )  # fmt: skip


def _notes(
    mass_mg: int, interval_mg: int, added_mg: int | None, capacity_mg: int | None
) -> list[str]:
    notes = [
        "class III tolerances are a yardstick where the scale carries no class mark",
        "the test mass should be right to a third of the tolerance (from memory)",
    ]
    if mass_mg < N_LEAST * interval_mg:
        notes.append(f"below {N_LEAST} intervals a load is too small to tell much")
    if added_mg is None:
        notes.append("the display rounds to an interval: half of one may be rounding")
    if capacity_mg is not None and mass_mg < capacity_mg:
        notes.append("test up to the capacity: this mass shows the scale good to its load only")
    if capacity_mg is not None and capacity_mg < _least_divisions(interval_mg) * interval_mg:
        notes.append("the capacity has fewer intervals than class III asks for")
    return notes


def _least_divisions(interval_mg: int) -> int:
    """Return the least number of intervals of class III (NIST Handbook 44 Table 3)."""
    return 500 if interval_mg >= 5000 else 100
