"""Lethality: published run, what the table implies, and the evaluation rule.

Sources: a published general-method example (Tref 150 F, z 10 F, D 0.172 min); FSIS-GD-2021
Table 2 and its regression; J. Food Sci. 66:146 (2001); NZ MPI Technical Paper 2016/05.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.safety.history import PieceHistory, curve
from pitlogger.safety.lethality import (
    D_MIN,
    Lethality,
    LethalityClock,
    lethal_rate,
    lethality,
    lethality_clock,
    table_for,
)
from pitlogger.safety.policy import Policy, parse_policy, shipped_policy
from pitlogger.safety.tables import hold_table
from tests.safety.building import HOME, MIN, PLANT, RETAIL, history, line, vectors, without

COLUMNS = {"5log": "fsis-meat-5log", "6.5log": "fsis-meat-6.5log", "7log": "fsis-meat-7log"}
ON_PIT = ((0.0, "smoking"),)


def judge(piece: PieceHistory, policy: Policy = RETAIL) -> Lethality:
    return lethality(piece, curve(piece, policy.max_gap.ms, policy.settle.ms), policy)


def test_the_published_run_is_followed_to_a_thousandth() -> None:
    rows = vectors("lethality_worked_example.csv")
    clock = lethality_clock(hold_table("fsis-meat-6.5log"), 30 * MIN)
    for row in rows:
        clock.update(
            round(float(row["time_min"]) * MIN), milli_c_from_fahrenheit(float(row["core_temp_f"]))
        )
        assert clock.worth_min == pytest.approx(
            float(row["f_value_trapezoid_computed_min"]), abs=0.0011
        )
        if row["f_value_as_published_min"]:
            assert clock.worth_min == pytest.approx(
                float(row["f_value_as_published_min"]), abs=0.0015
            )
        assert clock.log10() == pytest.approx(float(row["log_reduction_d_0.172min"]), abs=0.007)


def test_the_rate_of_the_published_run() -> None:
    for row in vectors("lethality_worked_example.csv"):
        expected = float(row["lethal_rate_tref150_z10"])
        assert lethal_rate(float(row["core_temp_f"])) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("column", COLUMNS)
def test_the_table_implies_the_published_regression(column: str) -> None:
    summary = {row["column"]: row for row in vectors("fsis_table_regression_summary.csv")}[column]
    rows = [row for row in hold_table(COLUMNS[column]).rows if row.seconds]
    assert len(rows) == int(summary["n_rows"])
    f = np.array([row.temp_f for row in rows])
    slope, intercept = np.polyfit(f, np.log10([row.seconds / 60 for row in rows]), 1)
    assert slope == pytest.approx(float(summary["slope_per_f"]), abs=2e-6)
    assert intercept == pytest.approx(float(summary["intercept_log10min"]), abs=2e-4)
    assert -1 / slope == pytest.approx(float(summary["z_f"]), abs=0.001)


def test_the_closed_form_of_the_table_gives_its_published_values() -> None:
    for row in vectors("fsis_table_regression_residuals.csv"):
        target = float(row["column"].removesuffix("log"))
        unit = {"min": 60, "s": 1}[row["unit"]]
        seconds = target * 10.30 / lethal_rate(float(row["temp_f"]))
        closed = float(row["closed_form_value_d150_10.30s_z10f"])
        assert seconds / unit == pytest.approx(closed, abs=0.0006)
        printed = {r.temp_f: r.seconds for r in hold_table(COLUMNS[row["column"]]).rows}
        assert printed[float(row["temp_f"])] == float(row["printed_value"]) * unit


def test_the_constants_are_those_published() -> None:
    rows = {(r["organism"], r["matrix"]): r for r in vectors("dz_values.csv")}
    example = rows["Salmonella / E. coli O157:H7 (example)", "lean ground beef 2 % fat"]
    assert float(example["d_minutes"]) == D_MIN
    assert float(example["z_c"]) * 1.8 == pytest.approx(10, abs=0.001)
    implied = rows["Salmonella (table-implied)", "FSIS meat table 6.5-log"]
    assert float(implied["d_minutes"]) == pytest.approx(10.30 / 60, abs=1e-4)


def test_the_general_method_gives_the_z_of_a_published_series() -> None:
    broth = [r for r in vectors("dz_values.csv") if r["matrix"] == "chicken broth"]
    slope, _ = np.polyfit(
        [float(r["temp_c"]) for r in broth], [math.log10(float(r["d_minutes"])) for r in broth], 1
    )
    z_c = -1 / slope
    assert z_c == pytest.approx(6.65, abs=0.005)
    assert lethal_rate(55 + z_c, reference_f=55, z_f=z_c) == pytest.approx(10)


@pytest.mark.parametrize("row", range(28))
def test_each_row_is_met_at_its_time_and_not_a_second_before(row: int) -> None:
    asked = hold_table("fsis-meat-6.5log").rows[row]
    for short_s, met in ((0.0, True), (1.0, False)):
        minutes = (asked.seconds - short_s) / 60
        held = line((0, asked.temp_f), (minutes, asked.temp_f), every_s=20)
        found = judge(history(held, stages=ON_PIT))
        assert found.verdict.met is met
        assert found.row is not None
        assert (found.row.temp_f, found.row.seconds) == (asked.temp_f, asked.seconds)
        assert found.had_s == pytest.approx(asked.seconds - short_s, abs=0.01)


def test_rows_are_never_mixed() -> None:
    """Half of one row's time and half of another's meet neither."""
    held = line((0, 140), (6, 140), (6.1, 135), (23, 135), (23.1, 100))
    assert judge(history(held, stages=ON_PIT)).verdict.met is False


def test_time_above_a_row_adds_up_over_interruptions() -> None:
    held = line((0, 140), (7, 140), (8, 120), (20, 120), (21, 140), (26, 140), (27, 120))
    found = judge(history(held, stages=ON_PIT))
    assert found.verdict.met is True
    assert found.had_s == pytest.approx(720, abs=0.2)


def test_the_lowest_core_decides_never_the_mean() -> None:
    warm = line((0, 150), (30, 150))
    cold = line((0, 128), (30, 128))
    assert judge(history(warm, stages=ON_PIT)).verdict.met is True
    assert judge(history(warm, cold, stages=ON_PIT)).verdict.met is False


def test_a_rise_after_leaving_the_pit_counts() -> None:
    core = line((0, 60), (100, 130), (160, 139), (175, 145), (185, 145))
    found = judge(history(core, stages=((0.0, "smoking"), (160.0, "resting"))))
    assert found.verdict.met is True


def test_heat_of_reheating_is_no_part_of_the_cook() -> None:
    core = line((0, 60), (60, 125), (120, 40), (180, 170), (190, 170))
    stages = ((0.0, "smoking"), (60.0, "cooling"), (130.0, "reheating"))
    assert judge(history(core, stages=stages)).verdict.met is False


def test_a_pass_below_140_f_has_a_low_margin() -> None:
    low = judge(history(line((0, 135), (36, 135)), stages=ON_PIT))
    assert (low.verdict.met, low.margin) == (True, "low")
    normal = judge(history(line((0, 140), (12, 140)), stages=ON_PIT))
    assert (normal.verdict.met, normal.margin) == (True, "normal")


def test_of_rows_that_ask_no_time_the_first_is_named() -> None:
    found = judge(history(line((0, 60), (600, 203)), stages=ON_PIT))
    assert found.row is not None
    assert (found.row.temp_f, found.row.seconds, found.margin) == (158, 0, "normal")


def test_a_hole_counts_for_nothing_and_leaves_a_miss_unshown() -> None:
    core = without(line((0, 135), (60, 135)), 5, 50)
    found = judge(history(core, stages=ON_PIT))
    assert found.verdict.met is None
    assert found.had_s == pytest.approx(15 * 60)
    assert "no reading for 45 min" in found.verdict.reason


def test_a_hole_does_not_hide_a_row_that_was_reached() -> None:
    core = without(line((0, 100), (300, 203)), 30, 90)
    assert judge(history(core, stages=ON_PIT)).verdict.met is True


def test_a_moved_probe_parts_the_time_it_judges() -> None:
    core = line((0, 140), (14, 140))
    split = judge(history(core, stages=ON_PIT, moves=(7.0,)), policy=_unsettled())
    assert split.verdict.met is None
    assert "moves of the probe" in split.verdict.reason


def test_a_row_reached_after_the_move_alone_is_shown() -> None:
    core = line((0, 120), (60, 135), (61, 150), (90, 150))
    assert judge(history(core, stages=ON_PIT, moves=(30.0,))).verdict.met is True


def _unsettled() -> Policy:
    return parse_policy(
        '[policy]\nname = "test"\nversion = "1"\nbase = "retail-food-code"\n'
        '[settle]\nvalue = "1 s"\nsource = "this test"\n'
    )


def test_a_piece_first_seen_off_the_pit_is_not_shown() -> None:
    held = history(line((0, 140), (5, 139)), stages=((0.0, "resting"),))
    assert judge(held).verdict.met is None


def test_no_probe_is_not_shown() -> None:
    found = judge(history(stages=((0.0, "smoking"), (600.0, "resting"))))
    assert found.verdict.applies
    assert found.verdict.met is None
    assert found.row is None


def test_a_piece_made_of_another_is_judged_there() -> None:
    child = history(line((0, 200), (30, 190)), stages=((0.0, "carved"),), parents=("brisket-0",))
    assert not judge(child).verdict.applies


@pytest.mark.parametrize(
    ("policy", "cut", "prepared", "table"),
    [
        (RETAIL, "brisket-packer", "intact", "fsis-meat-6.5log"),
        (RETAIL, "pork-butt", "injected", "food-code-ground"),
        (RETAIL, "brisket-flat", "tenderised", "food-code-ground"),
        (RETAIL, "beef-chuck", "ground", "food-code-ground"),
        (RETAIL, "pork-belly", "stuffed", "food-code-165f"),
        (RETAIL, "chicken-thigh", "intact", "food-code-165f"),
        (RETAIL, "turkey-breast", "injected", "food-code-165f"),
        (RETAIL, "sausage", "intact", "food-code-ground"),
        (PLANT, "brisket-packer", "injected", "fsis-meat-6.5log"),
        (PLANT, "beef-chuck", "ground", "fsis-meat-5log"),
        (PLANT, "chicken-whole", "intact", "fsis-chicken-7log-12pct"),
        (PLANT, "turkey-whole", "intact", "fsis-turkey-7log-12pct"),
        (PLANT, "pork-belly", "stuffed", "fsis-poultry-7log-12pct"),
        (HOME, "lamb-shoulder", "intact", "consumer-whole"),
        (HOME, "chicken-half", "intact", "consumer-poultry"),
        (HOME, "sausage", "intact", "consumer-ground"),
    ],
)
def test_what_a_piece_is_decides_its_table(
    policy: Policy, cut: str, prepared: str, table: str
) -> None:
    assert table_for(history(cut=cut, prepared=prepared, end_min=1), policy).id == table


def test_poultry_is_judged_by_its_fat_where_it_is_known() -> None:
    held = line((0, 150), (2.8, 150))
    piece = history(held, stages=ON_PIT, cut="chicken-whole", fat_pct=1.0)
    assert judge(piece, PLANT).verdict.met is True
    unknown = history(held, stages=ON_PIT, cut="chicken-whole")
    assert judge(unknown, PLANT).verdict.met is False


def test_the_integral_governs_only_where_a_policy_says_so() -> None:
    by_integral = parse_policy(
        '[policy]\nname = "test"\nversion = "1"\nbase = "retail-food-code"\n'
        '[lethality_by]\nvalue = "integral"\nsource = "this test"\n'
    )
    core = history(line((0, 130), (6, 158), (6.1, 120)), stages=ON_PIT)
    probe = line((0, 158), (0.05, 158))
    instant = history(probe, probe, stages=ON_PIT)
    assert judge(core, by_integral).verdict.met is True
    assert judge(instant).verdict.met is True
    assert judge(instant, by_integral).verdict.met is False


def test_a_clock_made_again_from_its_values_goes_on_alike() -> None:
    from dataclasses import asdict

    readings = line((0, 120), (60, 150))
    whole = lethality_clock(hold_table("fsis-meat-6.5log"), 30 * MIN)
    first = lethality_clock(hold_table("fsis-meat-6.5log"), 30 * MIN)
    for t_ms, value_mc in readings[:30]:
        first.update(t_ms, value_mc)
    again = LethalityClock(**asdict(first))
    for t_ms, value_mc in readings[30:]:
        again.update(t_ms, value_mc)
    for t_ms, value_mc in readings:
        whole.update(t_ms, value_mc)
    assert again == whole


@given(
    st.lists(st.floats(120, 165), min_size=2, max_size=40),
    st.floats(0.5, 29),
)
def test_a_warmer_history_never_passes_less(temps: list[float], step_min: float) -> None:
    def passed(shift_f: float) -> bool:
        clock = lethality_clock(hold_table("fsis-meat-6.5log"), 30 * MIN)
        for index, f in enumerate(temps):
            clock.update(round(index * step_min * MIN), milli_c_from_fahrenheit(f + shift_f))
        return clock.best() is not None

    assert passed(1.0) >= passed(0.0)


@given(st.lists(st.integers(45_000, 75_000), min_size=2, max_size=30))
def test_time_above_rows_falls_as_rows_rise(values: list[int]) -> None:
    clock = lethality_clock(hold_table("fsis-meat-7log"), 30 * MIN)
    for index, value_mc in enumerate(values):
        clock.update(index * MIN, value_mc)
    had = clock.had_s()
    assert all(a >= b - 1e-6 for a, b in pairwise(had))
    assert had[0] <= (len(values) - 1) * 60 + 1e-6


def test_the_policies_differ_where_the_sources_do() -> None:
    ny = parse_policy(
        '[policy]\nname = "ny"\nversion = "1"\nbase = "retail-food-code"\n'
        '[cook_intact]\nvalue = "fsis-meat-7log"\nsource = "state chart, 7 log"\n'
    )
    held = history(line((0, 130), (115, 130)), stages=ON_PIT)
    assert judge(held).verdict.met is True
    assert judge(held, ny).verdict.met is False
    assert shipped_policy().name == "retail-food-code"


@given(st.lists(st.integers(54_000, 71_500), min_size=2, max_size=12))
def test_a_crossing_counts_for_each_row_from_where_it_crossed(values: list[int]) -> None:
    """By the straight line between two readings, cut into thousandths, for each row by itself."""
    clock = lethality_clock(hold_table("fsis-meat-6.5log"), 30 * MIN)
    for minute, value in enumerate(values):
        clock.update(minute * MIN, value)
    for row, limit in enumerate(clock.rows_mc):
        above = sum(
            early + (late - early) * (step + 0.5) / 1000 >= limit
            for early, late in pairwise(values)
            for step in range(1000)
        )
        assert clock.had_s()[row] == pytest.approx(above * 0.06, abs=0.07 * len(values))


def test_no_line_joins_two_hand_readings_that_meat_cannot_go_between() -> None:
    """203 F, and 104 F a quarter of an hour later: one of the two was something else."""
    wrong = history(stages=((0, "smoking"), (300, "resting")), spots=((290, 203), (305, 104)))
    assert judge(wrong, RETAIL).verdict.met is not True
    slow = history(stages=((0, "smoking"), (300, "resting")), spots=((290, 203), (315, 196)))
    assert judge(slow, RETAIL).verdict.met is True


@pytest.mark.parametrize(("every_s", "met"), [(10, None), (60, True)])
def test_one_noisy_reading_of_the_coldest_core_shows_no_instant(
    every_s: int, met: bool | None
) -> None:
    """The readings beside it say that it was noise, unless they are too far off to tell."""
    step = every_s / 60
    hot = line(*((number * step, 172) for number in range(30)))
    noisy = line(*((number * step, 165.2 if number == 15 else 164.6) for number in range(30)))
    chicken = history(hot, noisy, stages=ON_PIT, cut="chicken-whole")
    assert judge(chicken).verdict.met is met
