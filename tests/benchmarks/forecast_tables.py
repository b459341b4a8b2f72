"""The tables of the forecast's scores as the docs show them, and what falls short of its goal."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from tests.benchmarks import forecast_own
from tests.benchmarks.forecast_alarms import Kept
from tests.benchmarks.forecast_methods import Score

Array = npt.NDArray[np.float64]

GOAL_MIN = {"6h": 45, "4h": 30, "2h": 20, "1h": 10}
GOAL_WIDTH_MIN = {"6h": 240, "4h": 150, "2h": 90, "1h": 45}
GOAL_INSIDE_PCT = (75, 88)
KITCHENS = 8  # of each plant
DOCS = Path(__file__).parents[2] / "docs" / "forecast.md"
BEGIN, END = "<!-- scores -->", "<!-- end of scores -->"


def markdown(found: list[Score], record: dict[str, float]) -> str:
    """Return the scores as the docs show them."""
    lines = [
        "| | never saw | when | error | goal | bias | CRPS | inside | width |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for s in found:
        goal = GOAL_MIN.get(s.moment, "") if s.method.startswith("blend") else ""
        lines.append(
            f"| {s.method} | {s.population} | {s.moment} | {s.median_error:.0f} | {goal} | "
            f"{s.bias:+.0f} | {s.crps:.0f} | {100 * s.coverage:.0f} % | {s.width:.0f} |"
        )
    spread = "; ".join(
        f"{s.population} {', '.join(map(str, s.fifths))}"
        for s in found
        if s.moment == "all" and s.method.startswith("blend")
    )
    lines += [
        "",
        f"Of a hundred truths in each fifth of what is shown (20 each were perfect): {spread}.",
        "",
        (
            f"Measured records (widened, {record['moments']:.0f} moments): "
            f"median error factor {record['median_factor']:g} (goal 1.35; "
            f"slope alone {record['linear_median_factor']:g}), "
            f"{record['whole_median_factor']:g} on records of three points and more, "
            f"nine in ten under {record['p90_factor']:g}, truth inside the 80 % interval "
            f"{record['inside_pct']:.0f} % of the time."
        ),
    ]
    return "\n".join(
        [*lines, "", f"**Not reached:** {'; '.join(missed(found, record)) or 'nothing'}."]
    )


def alarm_table(told: list[Kept]) -> str:
    """Return the table of the prompts as the docs show it."""
    lead = (
        "**Prompts that hang on it**, on cooks of a plant the library never saw, each with a "
        "service at random (2 h before to 7 h after the meat is off the pit), looked at every half "
        "hour. In vain: of those told, how many were not called for (late by under half an hour "
        "counts as in vain). Cooling: pieces of 0.5 to 3 kg, 2 to 10 cm thick, in a refrigerator "
        "or in ice, hours before the limit. Meat: three packers a cook, weighed at the wrap and "
        "off the pit, guests between three and five quarters of what it does for, hours before "
        "the pull; told where it is less than 80 % likely to do, so some must be in vain."
    )
    head = "| prompt | called for | told ahead | how long ahead | in vain |"
    return "\n".join(
        [lead, "", head, "| --- | --- | --- | --- | --- |", *(one.row() for one in told)]
    )


def own_table(told: list[forecast_own.Told]) -> str:
    """Return the table of own cooks as the docs show it."""
    lead = (
        f"**After own cooks**, on cooks of plants the library never saw: {KITCHENS} kitchens of "
        "each, error and bias in minutes, how many lay inside (not widened). The second four: "
        "the same cooks if all of them took a quarter longer, which no plant knows."
    )
    return f"{lead}\n\n{forecast_own.table(told)}"


def missed(found: list[Score], record: dict[str, float]) -> list[str]:
    """Return what falls short of its goal, in words."""
    short = []
    for s in found:
        if not s.method.startswith("blend") or s.moment not in GOAL_MIN:
            continue
        at, inside = f"at {s.moment}, {s.population}", round(100 * s.coverage)
        if round(s.median_error) > GOAL_MIN[s.moment]:
            short.append(f"error {s.median_error:.0f} min {at} (goal {GOAL_MIN[s.moment]})")
        if round(abs(s.bias)) > 0.25 * s.median_error:
            short.append(f"bias {s.bias:+.0f} min {at} (a quarter of the error)")
        low, high = GOAL_INSIDE_PCT
        if not low <= inside <= high:
            short.append(f"{inside} % inside {at} (goal {low} to {high})")
        if s.width > GOAL_WIDTH_MIN[s.moment]:
            short.append(f"width {s.width:.0f} min {at} (goal {GOAL_WIDTH_MIN[s.moment]})")
    if record["median_factor"] > 1.35:
        short.append(f"measured records, median factor {record['median_factor']:g} (goal 1.35)")
    return short


def write_docs(
    found: list[Score],
    told: list[Kept],
    own: list[forecast_own.Told],
    record: dict[str, float],
    path: Path = DOCS,
) -> None:
    """Put the scores between their marks in the docs."""
    before, _, rest = path.read_text().partition(BEGIN)
    _, _, after = rest.partition(END)
    path.write_text(
        f"{before}{BEGIN}\n\n{markdown(found, record)}\n\n{own_table(own)}\n\n"
        f"{alarm_table(told)}\n\n{END}{after}"
    )
