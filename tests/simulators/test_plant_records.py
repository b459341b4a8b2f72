"""Against measured cooks: only mass, shape, pit and wrap differ; one set of parameters.

``measured_cooks.csv``: a university barbecue demonstration (Texas A&M, February 2013), an
essay on the stall (G. Blonder, July 2011), Harris et al. (Meat and Muscle Biology, article
9427) and home records; ``cook_loss_vs_temperature.csv``: Kerth, Wall and Grayson-Holter (Meat
and Muscle Biology, article 18269), a study of three beef muscles, and others named there.
Bands are wide: two probes in one brisket differed by 14 to 19 F.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import Boundary, at_place
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.kinetics import held_water

DATA = Path(__file__).parent.parent / "data"
FUEL_HUMIDITY, AIR_KG_S = 0.025, 6.0 / 3600.0


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


MEASURED = rows("measured_cooks.csv")


def record(name: str) -> list[tuple[float, float]]:
    """Return hours and core temperatures (F) of one record."""
    return [(float(r["hours"]), float(r["core_F"])) for r in MEASURED if r["id"] == name]


def cook_f(
    spec: PieceSpec, pit_f: float, hours: float, wrap_h: float = 99.0, convection: float = 8.5,
    wrap: str = "foil",
) -> np.ndarray:  # fmt: skip
    """Return the core in F every minute, in a steady pit with its own damp air."""
    body, out = Body(spec), []
    pit_c, humidity = (pit_f - 32.0) / 1.8, FUEL_HUMIDITY
    for minute in range(int(hours * 60) + 1):
        out.append(body.core_c[0] * 1.8 + 32.0)
        seen = Boundary(pit_c, pit_c - 8.0, humidity, convection)
        body.step(60.0, seen.wrapped(wrap) if minute >= wrap_h * 60 else seen)
        humidity = FUEL_HUMIDITY + max(0.0, float(body.vapour_kg_s[0])) / AIR_KG_S
    return np.array(out)


def hours_to(core_f: np.ndarray, target_f: float) -> float:
    reached = core_f >= target_f
    return float(np.argmax(reached)) / 60.0 if reached.any() else float("inf")


@pytest.mark.parametrize(
    ("name", "mass_g", "start_f", "pit_f", "wrap_h", "mean_f"),
    [
        # id in the file, mass, start, pit, foil at; mean error allowed, F
        ("M04", 2040, 46, 230, 99.0, 10.0),
        ("M05", 3860, 45, 275, 3.5, 8.0),
    ],
)
def test_pork_shoulders_follow_their_records(
    name: str, mass_g: float, start_f: float, pit_f: float, wrap_h: float, mean_f: float
) -> None:
    core = cook_f(PieceSpec("pork-butt", mass_g, start_c=(start_f - 32) / 1.8), pit_f, 8.0, wrap_h)
    errors = [core[round(h * 60)] - f for h, f in record(name)]
    assert np.mean(np.abs(errors)) < mean_f
    assert np.max(np.abs(errors)) < 19.0


def test_pork_shoulder_at_250_f_warms_hour_by_hour() -> None:
    """3.6 kg: 56, 96, 128, 147, 162 F after 1 to 5 h (home record)."""
    core = cook_f(PieceSpec("pork-butt", 3600, start_c=8.0), 250.0, 5.0)
    errors = [core[60 * h] - f for h, f in enumerate((56, 96, 128, 147, 162), 1)]
    assert np.abs(errors[:4]).max() < 9.0
    assert abs(errors[4]) < 16.0


def test_wrapping_a_brisket_saves_hours() -> None:
    """The university's pair: 195 F in 9 h wrapped at 4 h, in 13 h and more unwrapped.

    The model is faster than both; the hours saved are what is held against the pair.
    """
    spec = PieceSpec("brisket-packer", 6000.0)
    wrapped = hours_to(cook_f(spec, 238.0, 14.0, 4.0), 195.0)
    bare = hours_to(cook_f(spec, 238.0, 14.0), 195.0)
    assert 2.0 <= bare - wrapped <= 6.0
    assert 5.0 <= wrapped <= 9.5
    assert 8.0 <= bare <= 14.0


@pytest.mark.parametrize(
    ("cut", "mass_g", "pit_f", "wrap_h", "wrap", "span_f", "hours"),
    [
        ("pork-butt", 3180, 227, 99.0, "none", (180, 190), 1.25),  # M16
        ("pork-butt", 3500, 225, 5.0, "pan", (165, 205), 3.0),  # M15, mass assumed
        ("brisket-packer", 5200, 238, 99.0, "none", (195, 203), 1.0),  # 8 F/h and more
    ],
)
def test_the_last_degrees_come_about_as_fast_as_they_were_logged(
    cut: str, mass_g: float, pit_f: float, wrap_h: float, wrap: str,
    span_f: tuple[float, float], hours: float,
) -> None:  # fmt: skip
    """A surface that has dried or is wrapped no longer holds the core back."""
    core = cook_f(PieceSpec(cut, mass_g, start_c=6.0), pit_f, 20.0, wrap_h, wrap=wrap)
    took = hours_to(core, span_f[1]) - hours_to(core, span_f[0])
    assert 0.6 * hours <= took <= 1.6 * hours


def test_briskets_in_a_commercial_oven_take_about_eleven_hours_to_85_c() -> None:
    (hours, target_f), = record("M17")  # fmt: skip
    took = hours_to(cook_f(PieceSpec("brisket-packer", 5500.0), 225.0, 15.0), target_f)
    assert hours - 3.0 <= took <= hours + 3.0


def test_a_small_brisket_stalls_where_it_was_seen_to() -> None:
    """A plateau at 153 F for almost six hours at 225 F; here within 8 F of it for three."""
    core = cook_f(PieceSpec("brisket-packer", 2500.0), 225.0, 10.0)
    (_, plateau_f), *_ = record("M02")
    assert np.sum(np.abs(core - plateau_f) < 8.0) / 60.0 >= 3.0


@pytest.mark.parametrize(("until_c", "measured"), [(85.0, 40.7), (90.0, 44.0)])
def test_briskets_lose_in_a_three_hour_hold_what_was_weighed(
    until_c: float, measured: float
) -> None:
    body, humidity, held_s, reached = Body(PieceSpec("brisket-packer", 4500.0)), 0.025, 0, False
    first_g = body.mass_g[0]
    while held_s < 3 * 3600:
        reached = reached or body.core_c[0] >= until_c
        air_c = until_c + 8.0 if reached else 114.4
        body.step(60.0, Boundary(air_c, air_c - 8.0, humidity))
        humidity = FUEL_HUMIDITY + max(0.0, float(body.vapour_kg_s[0])) / AIR_KG_S
        held_s += 60 * reached
    assert 100.0 * (1.0 - body.mass_g[0] / first_g) == pytest.approx(measured, abs=3.0)


def test_the_water_holding_curve_is_the_published_one() -> None:
    curve = [r for r in rows("cook_loss_vs_temperature.csv") if r["kind"].startswith("equil")]
    assert len(curve) > 10
    for row in curve:
        held = 0.745 * float(held_water(np.array([float(row["T_C"])]), 52.0, 0.25)[0])
        assert held == pytest.approx(float(row["water_kg_per_kg"]), abs=2e-4)


@pytest.mark.parametrize(
    "row",
    [r for r in rows("cook_loss_vs_temperature.csv") if r["kind"].startswith("oven and tube")],
    ids=lambda r: r["T_C"],
)
def test_lean_beef_roasted_to_a_temperature_loses_about_what_was_measured(
    row: dict[str, str],
) -> None:
    body = Body(PieceSpec("beef-chuck", 1300.0, fat_fraction=0.04, start_c=5.0))
    first_g = body.mass_g[0]
    while body.core_c[0] < float(row["T_C"]):
        body.step(30.0, Boundary(163.0, 155.0, 0.02, 12.0))
    loss = 100.0 * (1.0 - body.mass_g[0] / first_g)
    assert loss == pytest.approx(float(row["loss_percent_of_raw"]), abs=9.0)


@pytest.mark.parametrize(
    ("mass_g", "until_c", "minutes"),
    [(1270, 54, 66), (1300, 52, 60), (1350, 53, 65), (1440, 53, 70)],
)
def test_beef_roasts_take_about_as_long_as_was_logged(
    mass_g: float, until_c: float, minutes: float
) -> None:
    """Fan oven at 180 C from near room temperature (home log)."""
    core = cook_f(
        PieceSpec("beef-chuck", mass_g, fat_fraction=0.06, start_c=15.0),
        356.0,
        2.0,
        convection=18.0,
    )
    took = 60.0 * hours_to(core, until_c * 1.8 + 32.0)
    assert 0.65 * minutes <= took <= 1.1 * minutes


def test_a_hot_roast_carries_over_and_a_slow_brisket_hardly() -> None:
    """A 1.15 kg rib roast rose 5 C in 14 min after a 180 C oven (home log)."""
    roast = Body(PieceSpec("beef-chuck", 1150.0, fat_fraction=0.06, start_c=15.0))
    brisket = Body(PieceSpec("brisket-packer", 3900.0))
    for body, oven, until_c in (
        (roast, Boundary(180.0, 172.0, 0.02, 18.0), 53.0),
        (brisket, Boundary(114.4, 106.4, 0.03).wrapped("foil"), 95.0),
    ):
        while body.core_c[0] < until_c:
            body.step(30.0, oven)
    rise = []
    for body in (roast, brisket):
        first_c, peak_c = body.core_c[0], body.core_c[0]
        for _ in range(60):
            body.step(30.0, at_place("counter"))
            peak_c = max(peak_c, body.core_c[0])
        rise.append(peak_c - first_c)
    assert 3.0 <= rise[0] <= 11.0
    assert 0.0 < rise[1] <= 1.5


@pytest.mark.parametrize(("from_f", "hours", "to_f"), [(198, 3, 165), (194, 2, 174), (200, 6, 140)])
def test_an_insulated_box_cools_as_hobby_records_say(
    from_f: float, hours: int, to_f: float
) -> None:
    body = Body(PieceSpec("brisket-packer", 4500.0))
    while body.core_c[0] * 1.8 + 32 < from_f:
        body.step(60.0, Boundary(114.4, 106.4, 0.03).wrapped("foil"))
    for _ in range(hours * 60):
        body.step(60.0, at_place("box", 24.0).wrapped("foil"))
    assert body.core_c[0] * 1.8 + 32 == pytest.approx(to_f, abs=8.0)
