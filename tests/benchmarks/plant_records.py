"""The plant against measured cooks, record by record, each left out in turn.

    python -m tests.benchmarks.plant_records

One set of parameters serves all records; a record tells its own mass, cut, pit and wrap. For the
score with a record left out, the plant's clock is set by all others (one factor on time, their
median), which is what a kitchen could know before its first cook.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log
from statistics import median

import numpy as np

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.cuts import PieceSpec

FUEL_HUMIDITY, AIR_KG_S = 0.025, 6.0 / 3600.0
LONGEST_H = 30.0


@dataclass(frozen=True, slots=True)
class Record:
    """When a core was at a temperature; ``wrap_h`` is when it was wrapped, in ``wrap``."""

    name: str
    cut: str
    mass_kg: float
    pit_f: float
    to_f: float
    hours: float
    wrap: str = "none"
    wrap_h: float = 99.0
    start_f: float = 42.0


# ``tests/data/measured_cooks.csv``; the pair of the university demonstration is taken as 6 kg
# each (5 to 7 kg stated), a shoulder of unknown mass as 3.5 kg.
RECORDS = (
    Record("M01a", "brisket-packer", 6.0, 238, 195, 9.0, "foil", 4.0),
    Record("M01b", "brisket-packer", 6.0, 238, 195, 13.2),
    Record("M03b", "brisket-packer", 4.95, 255, 150, 6.0),
    Record("M04", "pork-butt", 2.04, 230, 162, 5.0, start_f=46),
    Record("M05", "pork-butt", 3.86, 275, 181, 5.0, "foil", 3.5, 45),
    Record("M10", "pork-butt", 3.18, 232, 155, 5.0),
    Record("M14", "brisket-packer", 3.6, 210, 150, 3.5),
    Record("M15", "pork-butt", 3.5, 225, 205, 8.0, "pan", 5.0),
    Record("M16", "pork-butt", 3.18, 227, 190, 15.25),
    Record("M17", "brisket-packer", 5.5, 225, 185, 11.0),
)


def took_h(record: Record) -> float:
    """Return the plant's hours to the record's temperature."""
    body = Body(PieceSpec(record.cut, 1000.0 * record.mass_kg, start_c=_c(record.start_f)))
    pit_c, humidity, minute = _c(record.pit_f), FUEL_HUMIDITY, 0
    while body.core_c[0] < _c(record.to_f) and minute < 60 * LONGEST_H:
        seen = Boundary(pit_c, pit_c - 8.0, humidity)
        on = minute >= 60 * record.wrap_h
        body.step(60.0, seen.wrapped(record.wrap) if on else seen)
        humidity = FUEL_HUMIDITY + max(0.0, float(body.vapour_kg_s[0])) / AIR_KG_S
        minute += 1
    return minute / 60.0


def scores() -> list[tuple[Record, float, float]]:
    """Return each record with the plant's hours, and those with its clock set by the others."""
    off = {record: log(record.hours / took_h(record)) for record in RECORDS}
    found = []
    for record, own in off.items():
        others = median(value for other, value in off.items() if other is not record)
        plain = record.hours / exp(own)
        found.append((record, plain, plain * exp(others)))
    return found


def _c(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def main() -> None:
    """Print the table and the median error factors."""
    found = scores()
    print("| record | to | measured | plant | clock set by the others |\n|---|---|---|---|---|")
    for record, plain, left_out in found:
        print(
            f"| {record.name}, {record.cut}, {record.mass_kg:g} kg, {record.pit_f:g} F, "
            f"{record.wrap} | {record.to_f:g} F | {record.hours:g} h | {plain:.1f} h | "
            f"{left_out:.1f} h |"
        )
    for name, factors in (
        ("plant", [exp(abs(log(plain / record.hours))) for record, plain, _ in found]),
        ("left out", [exp(abs(log(told / record.hours))) for record, _, told in found]),
    ):
        print(f"{name}: median factor {np.median(factors):.2f}, worst {max(factors):.2f}")


if __name__ == "__main__":
    main()
