"""The live smoker: people's acts, several pieces, several pits."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pitlogger.errors import RefusedError, UsageError
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker
from pitlogger_simulators.plant.pits import Pit
from tests.simulators.whole_cooks import simulate

PACKER = PieceSpec("brisket-packer", 3900.0)
BUTT = PieceSpec("pork-butt", 3600.0)
HOUR = 3600.0


@pytest.fixture
def smoker() -> LiveSmoker:
    """A still pit with a packer that has been on for three hours."""
    smoker = LiveSmoker(seed=1)
    smoker.add_pit("pit", Pit("still"))
    smoker.put_on("brisket", PACKER, "pit")
    smoker.advance(3 * HOUR)
    return smoker


def test_live_is_the_same_cook_as_simulated(smoker: LiveSmoker) -> None:
    run = simulate(PACKER, pit=Pit("still"), duration_s=3 * HOUR)
    assert smoker.core_c("brisket") == pytest.approx(float(run.core_c[-1]), abs=0.01)
    assert smoker.masses("brisket").meat_g == pytest.approx(float(run.mass_g[-1]), abs=1.0)


def test_time_may_pass_in_any_steps() -> None:
    ends = []
    for dt_s in (7.0, 60.0, 700.0):
        smoker = LiveSmoker(seed=1)
        smoker.add_pit("pit", Pit("still"))
        smoker.put_on("brisket", PACKER, "pit")
        while smoker.time_s < 2 * HOUR - 1e-6:
            smoker.advance(min(dt_s, 2 * HOUR - smoker.time_s))
        ends.append(smoker.core_c("brisket"))
    assert ends == pytest.approx([ends[0]] * 3, abs=0.15)


def test_same_seed_and_acts_same_readings() -> None:
    def played() -> list[float]:
        smoker = LiveSmoker(seed=9)
        smoker.add_pit("pit", Pit("wood"))
        smoker.put_on("brisket", PACKER, "pit")
        smoker.advance(HOUR)
        smoker.fire("pit").open_lid(60.0)
        smoker.advance(HOUR)
        return [smoker.core_c("brisket"), smoker.pit_c("pit"), smoker.masses("brisket").meat_g]

    assert played() == played()


def test_readings_go_from_surface_to_core(smoker: LiveSmoker) -> None:
    assert smoker.surface_c("brisket") > smoker.core_c("brisket", depth_mm=8.0)
    assert smoker.core_c("brisket", depth_mm=8.0) > smoker.core_c("brisket")
    assert smoker.wall_c("pit") < smoker.pit_c("pit")
    assert smoker.air_c("brisket") == smoker.pit_c("pit")


def test_wrap_juice_and_meat_are_told_apart(smoker: LiveSmoker) -> None:
    bare = smoker.masses("brisket")
    assert bare.gross_g == bare.meat_g
    smoker.wrap("brisket", "foil")
    smoker.advance(2 * HOUR)
    parcel = smoker.masses("brisket")
    assert parcel.wrap_g == 60.0
    assert parcel.juice_g > 10.0
    assert parcel.gross_g == pytest.approx(parcel.meat_g + parcel.juice_g + 60.0)
    assert smoker.unwrap("brisket") == pytest.approx(parcel.juice_g)
    assert smoker.masses("brisket").gross_g == pytest.approx(parcel.meat_g)


def test_a_vented_parcel_keeps_its_juice(smoker: LiveSmoker) -> None:
    smoker.wrap("brisket", "foil")
    smoker.advance(HOUR)
    before = smoker.masses("brisket").juice_g
    smoker.vent("brisket")
    assert smoker.masses("brisket").juice_g == before
    smoker.wrap("brisket", "paper")
    with pytest.raises(RefusedError, match="only foil and pan"):
        smoker.vent("brisket")


def test_off_the_pit_a_piece_takes_the_place_s_air(smoker: LiveSmoker) -> None:
    smoker.pull("brisket")
    assert smoker.air_c("brisket") == 22.0
    smoker.place("brisket", "cabinet")
    assert smoker.air_c("brisket") == 66.0
    smoker.set_place_air("cabinet", 22.0)
    assert smoker.air_c("brisket") == 22.0
    smoker.set_place_air("cabinet", None)
    assert smoker.air_c("brisket") == 66.0
    smoker.put_back("brisket", "pit")
    assert smoker.where("brisket") == "pit"


def test_a_cabinet_switched_off_by_mistake_lets_the_hold_cool(smoker: LiveSmoker) -> None:
    smoker.advance(5 * HOUR)
    smoker.wrap("brisket", "foil")
    smoker.place("brisket", "cabinet")
    smoker.advance(4 * HOUR)
    held_c = smoker.core_c("brisket")
    smoker.set_place_air("cabinet", 22.0)
    smoker.advance(4 * HOUR)
    assert held_c > 57.2
    assert smoker.core_c("brisket") < 57.2


def test_splitting_keeps_mass_and_temperature(smoker: LiveSmoker) -> None:
    whole_g, core_c = smoker.masses("brisket").meat_g, smoker.core_c("brisket")
    smoker.split("brisket", {"point": 0.4, "flat": 0.6})
    assert smoker.pieces == ("point", "flat")
    parts_g = [smoker.masses(name).meat_g for name in smoker.pieces]
    assert sum(parts_g) == pytest.approx(whole_g)
    assert parts_g[0] == pytest.approx(0.4 * whole_g)
    assert smoker.core_c("point") == core_c


def test_pooling_keeps_mass(smoker: LiveSmoker) -> None:
    for name in ("butt-1", "butt-2"):
        smoker.put_on(name, BUTT, "pit")
    smoker.advance(5 * HOUR)
    mass_g = sum(smoker.masses(name).meat_g for name in ("butt-1", "butt-2"))
    smoker.pool(("butt-1", "butt-2"), "pork")
    assert smoker.pieces == ("brisket", "pork")
    assert smoker.masses("pork").meat_g == pytest.approx(mass_g)


def test_trimming_takes_what_was_said(smoker: LiveSmoker) -> None:
    before_g = smoker.masses("brisket").meat_g
    smoker.trim("brisket", grams=300.0)
    assert smoker.masses("brisket").meat_g == pytest.approx(before_g - 300.0)
    with pytest.raises(UsageError, match="expected less than there is"):
        smoker.trim("brisket", grams=30_000.0)


def cooled_h(act: Callable[[LiveSmoker], None]) -> float:
    """Return hours from 57 C (135 F) to 21 C (70 F) after some preparation."""
    smoker = LiveSmoker(seed=1)
    smoker.add_pit("pit", Pit("still"))
    smoker.put_on("brisket", PieceSpec("brisket-packer", 3900.0, start_c=60.0), "pit")
    act(smoker)
    start_h = None
    for _ in range(20 * 12):
        smoker.advance(300.0)
        if start_h is None and smoker.core_c("brisket") <= 57.2:
            start_h = smoker.time_s / HOUR
        if smoker.core_c("brisket") <= 21.1:
            return smoker.time_s / HOUR - (start_h or 0.0)
    return float("inf")


def test_slices_cool_faster_than_a_whole_piece_and_an_ice_bath_faster_still() -> None:
    def whole(smoker: LiveSmoker) -> None:
        smoker.place("brisket", "refrigerator")

    def sliced(smoker: LiveSmoker) -> None:
        smoker.slice("brisket", depth_mm=25.0)
        smoker.place("brisket", "refrigerator")

    def iced(smoker: LiveSmoker) -> None:
        smoker.slice("brisket", depth_mm=25.0)
        smoker.place("brisket", "ice-bath")

    times_h = [cooled_h(act) for act in (whole, sliced, iced)]
    assert times_h[0] > times_h[1] > times_h[2]
    assert times_h[2] < 1.0


def test_cold_meat_reheats_in_an_oven() -> None:
    smoker = LiveSmoker()
    smoker.put_on("flat", PieceSpec("brisket-flat", 1500.0, start_c=4.0), None)
    smoker.slice("flat", depth_mm=50.0)
    smoker.wrap("flat", "pan")
    smoker.place("flat", "oven")
    smoker.advance(2 * HOUR)
    assert smoker.core_c("flat") > 74.0


def test_pieces_dampen_their_own_pit_only() -> None:
    smoker = LiveSmoker(seed=1)
    for pit in ("left", "right"):
        smoker.add_pit(pit, Pit("still"))
    for i in range(4):
        smoker.put_on(f"butt-{i}", BUTT, "left")
    smoker.advance(2 * HOUR)
    assert smoker.humidity_ratio("left") > smoker.humidity_ratio("right") + 0.02


def test_each_pit_has_its_own_fire() -> None:
    smoker = LiveSmoker(seed=1)
    for pit in ("left", "right"):
        smoker.add_pit(pit, Pit("charcoal"))
    smoker.fire("left").go_out()
    smoker.advance(3 * HOUR)
    assert smoker.pit_c("left") < 60.0
    assert smoker.pit_c("right") > 100.0
    smoker.fire("left").relight()
    smoker.fire("right").set_point(135.0)
    smoker.advance(3 * HOUR)
    assert smoker.pit_c("left") > 95.0
    assert smoker.pit_c("right") > 120.0


def test_collagen_softens_with_time_at_temperature(smoker: LiveSmoker) -> None:
    early = smoker.collagen_index("brisket")
    smoker.advance(8 * HOUR)
    assert early < 0.1
    assert smoker.collagen_index("brisket") > 0.5


def test_names_are_looked_up_and_the_nearest_is_named(smoker: LiveSmoker) -> None:
    with pytest.raises(UsageError, match="did you mean 'brisket'"):
        smoker.core_c("briskt")
    with pytest.raises(UsageError, match="unknown pit 'grill'"):
        smoker.pit_c("grill")
    with pytest.raises(UsageError, match="there already"):
        smoker.put_on("brisket", PACKER, "pit")
    with pytest.raises(UsageError, match="there already"):
        smoker.add_pit("pit")
    with pytest.raises(UsageError, match="together at most 1"):
        smoker.split("brisket", {"point": 0.7, "flat": 0.6})
    with pytest.raises(UsageError, match="only goes forward"):
        smoker.advance(-1.0)
