"""Whole cooks: events, seeds, batches, pits and probes."""

from __future__ import annotations

import numpy as np
import pytest

from pitlogger.errors import UsageError
from pitlogger.model.cooks import CUTS
from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.cuts import CUT_SHAPES, PieceSpec
from pitlogger_simulators.plant.fire import Fire, Weather
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.pits import KINDS, Pit
from pitlogger_simulators.plant.properties import Array
from tests.simulators.cook_events import PlantEvent
from tests.simulators.whole_cooks import simulate, simulate_batch

PACKER = PieceSpec("brisket-packer", 3900.0)
SCHEDULE = (
    PlantEvent("wrap", "foil", core_c=73.9),
    PlantEvent("pull", core_c=93.0),
    PlantEvent("unwrap", after_s=600.0),
    PlantEvent("place", "box", after_s=600.0),
)
HOUR = 3600.0


def air(fire: Fire, seconds: float, dt_s: float = 15.0, weather: Weather | None = None) -> Array:
    """Return the air of a pit over some time."""
    out = []
    for _ in range(round(seconds / dt_s)):
        fire.advance(dt_s, 0.0, weather or Weather())
        out.append(float(fire.air_c[0]))
    return np.array(out)


def lit(kind: str, **changes: object) -> Fire:
    return Fire(Pit(kind, 114.4, **changes), np.random.default_rng(1))  # type: ignore[arg-type]


def test_every_cut_has_a_shape_and_a_make_up_that_adds_up() -> None:
    assert list(CUT_SHAPES) == list(CUTS)
    for name, cut in CUT_SHAPES.items():
        made = cut.composition
        assert made.water + made.protein + made.fat + made.ash == pytest.approx(1.0), name
        shape = PieceSpec(name).shape()
        volume_m3 = cut.mass_g / 1000 / 1050
        compactness = shape.area_m2 * shape.half_thickness_m / volume_m3
        assert 0.9 <= compactness <= 3.3, f"{name}: between a slab and a sphere"


def test_events_come_in_order_at_their_temperatures_and_times() -> None:
    run = simulate(PACKER, schedule=SCHEDULE, pit=Pit("still"), duration_s=13 * HOUR, dt_s=60.0)
    wrap, pull, unwrap, box = run.event_s
    at_wrap, at_pull = (int(t / 60) for t in (wrap, pull))
    assert run.core_c[at_wrap] == pytest.approx(73.9, abs=0.3)
    assert run.core_c[at_pull] == pytest.approx(93.0, abs=0.3)
    assert (unwrap - pull, box - unwrap) == (600.0, 600.0)
    assert run.air_c[int(box / 60) - 2] == pytest.approx(22.0)


def test_a_parcel_hardly_loses_weight_and_drops_when_it_is_unwrapped() -> None:
    run = simulate(PACKER, schedule=SCHEDULE, pit=Pit("still"), duration_s=13 * HOUR, dt_s=60.0)
    wrapped, unwrapped = (int(t / 60) for t in run.event_s[[0, 2]])
    gross = run.gross_g
    assert gross[wrapped + 2] - gross[unwrapped - 1] < 0.03 * PACKER.unit_mass_g
    assert gross[unwrapped - 1] - gross[unwrapped + 2] > 100.0
    assert run.juice_g[-1] == 0.0


def test_mass_is_accounted_for_at_every_step() -> None:
    run = simulate(PACKER, schedule=SCHEDULE, duration_s=12 * HOUR, dt_s=60.0, seed=4)
    gone = run.evaporated_g + run.dripped_g + run.rendered_g
    assert run.mass_g + gone == pytest.approx(np.full(len(gone), 3900.0), abs=1e-6)


def test_same_seed_same_bytes_other_seed_other_cook() -> None:
    first, again, other = (simulate(PACKER, duration_s=2 * HOUR, seed=seed) for seed in (7, 7, 8))
    assert first.core_c.tobytes() == again.core_c.tobytes()
    assert first.pit_c.tobytes() == again.pit_c.tobytes()
    assert first.pit_c.tobytes() != other.pit_c.tobytes()


def test_a_batch_of_one_is_the_same_cook() -> None:
    alone = simulate(PACKER, schedule=SCHEDULE, duration_s=12 * HOUR, seed=3, dt_s=60.0)
    batch = simulate_batch(
        PACKER,
        1,
        parameters=Parameters(),
        schedule=SCHEDULE,
        duration_s=12 * HOUR,
        seed=3,
        dt_s=60.0,
    )
    assert np.array_equal(batch.core_c[:, 0], alone.core_c)


def test_draws_differ_and_each_goes_through_the_schedule_by_itself() -> None:
    runs = simulate_batch(
        PACKER, 20, schedule=SCHEDULE, duration_s=20 * HOUR, seed=3, dt_s=60.0, record_s=600.0
    )
    assert runs.core_c.shape == (121, 20)
    assert runs.event_s.shape == (4, 20)
    assert np.ptp(runs.event_s[0]) > 600.0
    assert (runs.event_s[1] > runs.event_s[0]).all()


def test_a_record_may_be_thinner_than_the_steps() -> None:
    every = simulate(PACKER, duration_s=HOUR, seed=1)
    thin = simulate(PACKER, duration_s=HOUR, seed=1, record_s=300.0)
    assert np.array_equal(thin.core_c, every.core_c[::10])
    assert np.array_equal(thin.time_s, every.time_s[::10])


def test_long_and_short_steps_agree() -> None:
    """60 s against 15 s: within three minutes at 165 and at 203 F."""
    schedule = (PlantEvent("wrap", "paper", core_c=73.9),)
    took = [
        simulate(PACKER, schedule=schedule, pit=Pit("still"), duration_s=15 * HOUR, dt_s=dt_s)
        for dt_s in (15.0, 60.0)
    ]
    for target in (73.9, 95.0):
        fine, coarse = (float(run.time_to_s(target)) for run in took)
        assert coarse == pytest.approx(fine, abs=180.0)


def test_more_cells_change_little() -> None:
    times = []
    for cells in (12, 24):
        body, minutes = Body(PACKER, n_cells=cells), 0
        while body.core_c[0] < 73.9:
            body.step(60.0, Boundary(114.4, 106.4))
            minutes += 1
        times.append(minutes)
    assert times[0] == pytest.approx(times[1], abs=10)


def test_a_fire_that_dies_cools_the_pit_and_stops_the_cook() -> None:
    schedule = (PlantEvent("fire-out", at_s=2 * HOUR), PlantEvent("relight", at_s=4 * HOUR))
    run = simulate(PACKER, schedule=schedule, duration_s=6 * HOUR, seed=1)
    at = {hour: float(run.pit_c[hour * 120]) for hour in (2, 4, 6)}
    assert at[2] > 100.0
    assert at[4] < 60.0
    assert at[6] > 100.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_lid_costs_20_to_55_c_and_comes_back_in_minutes(kind: str) -> None:
    fire = lit(kind)
    air(fire, 4 * HOUR)
    before_c = np.mean(air(fire, 300.0))
    fire.open_lid(90.0)
    course = air(fire, 900.0)
    drop_c = before_c - course.min()
    recovered_s = 15.0 * float(np.argmax(course[6:] > before_c - 0.3 * drop_c))
    assert 18.0 <= drop_c <= 60.0
    assert 60.0 <= recovered_s <= 600.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_pit_lit_cold_comes_to_its_set_point_within_two_hours(kind: str) -> None:
    course = air(lit(kind, hot=False), 3 * HOUR, 30.0)
    assert course[0] < 40.0
    assert np.mean(course[240:]) == pytest.approx(114.4, abs=9.0)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "still"])
def test_a_pit_swings_about_its_set_point_but_stays_near_it(kind: str) -> None:
    course = air(lit(kind), 12 * HOUR, 60.0)
    assert 1.0 <= np.std(course) <= 8.0
    assert np.mean(course) == pytest.approx(114.4, abs=4.0)


def test_walls_are_cooler_than_air() -> None:
    fire = lit("still")
    air(fire, 4 * HOUR)
    assert float(fire.air_c[0] - fire.wall_c[0]) == pytest.approx(8.0, abs=0.5)


def test_wind_and_rain_cool_a_pit() -> None:
    calm, storm = (
        np.mean(air(lit("charcoal"), 3 * HOUR, 60.0, weather))
        for weather in (Weather(), Weather(wind_m_s=6.0, rain=True))
    )
    assert 4.0 < calm - storm < 20.0


def test_a_grease_fire_flares_and_is_over_in_half_an_hour() -> None:
    fire = lit("still")
    fire.flare_up()
    course = air(fire, 1800.0)
    assert course.max() > 200.0
    assert course[-1] < 125.0


def test_an_untended_fire_goes_out_when_its_load_is_spent() -> None:
    course = air(lit("wood", tended=False), 4 * HOUR, 60.0)
    assert course[30] > 90.0
    assert course[-1] < 60.0


def test_meat_and_water_pan_dampen_the_pit() -> None:
    dry, pan = lit("still"), lit("still", water_pan_kg_h=0.5)
    air(dry, HOUR), air(pan, HOUR)
    with_meat = lit("still")
    with_meat.advance(30.0, np.array([0.3 / 3600]), Weather())
    assert pan.humidity_ratio[0] > dry.humidity_ratio[0] + 0.05
    assert with_meat.humidity_ratio[0] > dry.humidity_ratio[0] + 0.02


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (("wrapp", "foil"), "did you mean 'wrap'"),
        (("wrap", "tinfoil"), "unknown wrap 'tinfoil'"),
        (("place", "boxx"), "did you mean 'box'"),
        (("wrap",), "expected a value"),
        (("pull", "box"), "expected no value"),
        (("open-lid", "long"), "expected a number"),
    ],
)
def test_events_that_cannot_be_are_refused(wrong: tuple[str, ...], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        PlantEvent(*wrong)  # type: ignore[arg-type]


def test_pits_and_steps_that_cannot_be_are_refused() -> None:
    with pytest.raises(UsageError, match="did you mean 'charcoal'"):
        Pit("charcole")
    with pytest.raises(UsageError, match="expected 20 to 320 C"):
        Pit(set_c=500.0)
    with pytest.raises(UsageError, match="at most 60 s"):
        simulate(PACKER, dt_s=300.0)
    with pytest.raises(UsageError, match="expected at least 1"):
        simulate_batch(PACKER, 0)
