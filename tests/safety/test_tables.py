"""Tables of time and temperature against their published copies.

Sources: FSIS-GD-2021 (Revised Appendix A) Tables 2 to 4 and 6; FDA Food Code 3-401.11(B);
9 CFR 318.23(b)(1); USDA FSIS consumer minimums.
"""

from __future__ import annotations

import pytest

from pitlogger.safety import shipped
from pitlogger.safety.policy import COOK_TABLES, shipped_policy
from pitlogger.safety.tables import HoldTable, hold_table
from tests.safety.building import vectors


def seconds_by_f(table: HoldTable) -> dict[float, float]:
    return {row.temp_f: row.seconds for row in table.rows}


@pytest.mark.parametrize(
    ("table_id", "column"),
    [
        ("fsis-meat-5log", "seconds_5log"),
        ("fsis-meat-6.5log", "seconds_6_5log"),
        ("fsis-meat-7log", "seconds_7log"),
    ],
)
def test_meat_table_equals_the_printed_rows(table_id: str, column: str) -> None:
    printed = {float(r["temp_f"]): float(r[column]) for r in vectors("fsis_appendix_a_meat.csv")}
    assert seconds_by_f(hold_table(table_id)) == printed


def test_meat_table_equals_the_short_form_for_beef() -> None:
    columns = (("minutes_6_5log", "fsis-meat-6.5log"), ("minutes_7log", "fsis-meat-7log"))
    for row in vectors("fsis_appendix_a_beef.csv"):
        for column, table_id in columns:
            held = seconds_by_f(hold_table(table_id))[float(row["temp_f"])]
            assert held == pytest.approx(float(row[column]) * 60, abs=0.01)


def test_poultry_table_equals_all_720_cells() -> None:
    rows = vectors("fsis_poultry_lethality_7log.csv")
    assert len(rows) == 720
    for row in rows:
        table = hold_table("fsis-poultry-7log", row["species"], float(row["fat_pct"]))
        assert seconds_by_f(table)[float(row["temp_f"])] == float(row["seconds"])


def test_poultry_of_unknown_or_high_fat_takes_the_12_pct_column() -> None:
    known = seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 12))
    assert seconds_by_f(hold_table("fsis-poultry-7log", "chicken")) == known
    assert seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 25)) == known


def test_poultry_between_columns_takes_the_longer_even_where_print_is_not_monotone() -> None:
    one = seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 1))
    two = seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 2))
    between = seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 1.5))
    assert one[151.0] > two[151.0]
    assert between == {f: max(one[f], two[f]) for f in one}


def test_other_birds_take_the_longer_of_the_two_tables() -> None:
    chicken = seconds_by_f(hold_table("fsis-poultry-7log", "chicken", 5))
    turkey = seconds_by_f(hold_table("fsis-poultry-7log", "turkey", 5))
    assert seconds_by_f(hold_table("fsis-poultry-7log", "", 5)) == {
        f: max(chicken[f], turkey[f]) for f in chicken
    }


def test_roast_chart_equals_its_print_and_the_federal_six_and_a_half_log_column() -> None:
    printed = {
        float(r["temp_f"]): float(r["hold_seconds"]) for r in vectors("food_code_roast_hold.csv")
    }
    assert seconds_by_f(hold_table("food-code-roast")) == printed
    federal = seconds_by_f(hold_table("fsis-meat-6.5log"))
    assert printed == {f: federal[f] for f in printed}


def test_roast_oven_chart_equals_its_print() -> None:
    printed = {
        (r["oven_type"], r["roast_weight"].startswith("ge")): (r["oven_temp_f"], r["comparison"])
        for r in vectors("food_code_roast_oven.csv")
    }
    held = {
        (r["oven_type"], r["heavy"] == "yes"): (r["temp_f"], r["comparison"])
        for r in shipped.rows("roast_oven.csv")
    }
    assert held == printed


def test_patty_table_equals_its_copy_and_says_it_is_from_memory() -> None:
    printed = {
        float(r["temp_f"]): float(r["hold_seconds"]) for r in vectors("fsis_patty_318_23.csv")
    }
    table = hold_table("patty-318.23")
    assert seconds_by_f(table) == printed
    assert "from memory" in table.source


def test_home_tables_equal_the_consumer_minimums() -> None:
    by_food = {r["food"]: r for r in vectors("usda_consumer_minimums.csv")}
    home = shipped_policy("home")
    wanted = {
        home.cook_intact.value: "beef pork lamb veal steaks chops roasts",
        home.cook_ground.value: "ground beef pork lamb veal",
        home.cook_poultry.value: "all poultry incl. ground and stuffing",
        home.cook_stuffed.value: "all poultry incl. ground and stuffing",
    }
    for table_id, food in wanted.items():
        row = by_food[food]
        expected = {float(row["temp_f"]): float(row["rest_minutes"]) * 60}
        assert seconds_by_f(hold_table(table_id)) == expected


@pytest.mark.parametrize("table_id", COOK_TABLES)
def test_every_table_a_policy_may_name_exists_and_rises(table_id: str) -> None:
    rows = hold_table(table_id).rows
    assert [row.temp_f for row in rows] == sorted({row.temp_f for row in rows})
    assert [row.seconds for row in rows] == sorted((row.seconds for row in rows), reverse=True)
