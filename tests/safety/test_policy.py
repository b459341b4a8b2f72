"""Policies: published limits, citations, conflicts settled by one field each, bad files.

Sources of the limits: FDA Food Code, FSIS-GD-2021, FSIS Appendix B (June 1999).
"""

from __future__ import annotations

from dataclasses import fields

import pytest

from pitlogger.errors import ConfigError
from pitlogger.model.quantities import fahrenheit
from pitlogger.safety.cooling import steps_named, steps_of
from pitlogger.safety.policy import Cited, Temperature, parse_policy, shipped_names, shipped_policy
from pitlogger.safety.tables import hold_table
from tests.safety.building import RETAIL, vectors


def in_f(limit: Temperature) -> float:
    return round(fahrenheit(limit.mc), 1)


def test_retail_limits_equal_the_food_code() -> None:
    code = {row["key"]: row for row in vectors("food_code_limits.csv")}
    held = {
        "hot_hold_min_f": in_f(RETAIL.hot_hold),
        "hot_hold_min_roast_f": in_f(RETAIL.hot_hold_roast),
        "cold_hold_max_f": in_f(RETAIL.cold_hold),
        "cool_stage1": RETAIL.cooling_stage_1.s / 3600,
        "cool_total": RETAIL.cooling_stage_2.s / 3600,
        "reheat_hot_hold_f": in_f(RETAIL.reheat),
        "reheat_commercial_rte_f": in_f(RETAIL.reheat_commercial),
        "reheat_time_limit": RETAIL.reheat_limit.s / 3600,
        "tphc_4h": RETAIL.time_control_4h.s / 3600,
        "tphc_6h": RETAIL.time_control_6h.s / 3600,
        "food_probe_accuracy_c": RETAIL.food_probe_c.mc / 1000,
        "food_probe_accuracy_f": round(RETAIL.food_probe_f.mc * 0.0018, 2),
        "ambient_probe_accuracy_c": RETAIL.air_probe_c.mc / 1000,
        "ambient_probe_accuracy_f": round(RETAIL.air_probe_f.mc * 0.0018, 2),
    }
    assert held == {key: float(code[key]["value"]) for key in held}
    assert RETAIL.reheat_hold.s == 15


@pytest.mark.parametrize(
    ("key", "table_id", "seconds"),
    [
        ("cook_ground_injected_tenderized_f", "food-code-ground", 17),
        ("cook_ground_injected_tenderized_f_pre2017", "food-code-ground-pre-2017", 15),
        ("cook_poultry_stuffed_f", "food-code-165f", 0),
        ("cook_poultry_stuffed_f_pre2017", "food-code-165f-15s", 15),
    ],
)
def test_cooking_limits_equal_the_food_code(key: str, table_id: str, seconds: int) -> None:
    code = {row["key"]: row for row in vectors("food_code_limits.csv")}
    rows = {row.temp_f: row.seconds for row in hold_table(table_id).rows}
    assert rows[float(code[key]["value"])] == seconds


def test_come_up_and_growth_limits_equal_the_guideline() -> None:
    guide = {row["key"]: row["value"] for row in vectors("fsis_lethality_limits.csv")}
    assert in_f(RETAIL.come_up_low) == float(guide["cut_window_low_f"])
    assert in_f(RETAIL.come_up_high) == float(guide["cut_window_high_f"])
    assert RETAIL.come_up.s / 3600 == float(guide["cut_max_h"])
    assert RETAIL.max_gap.s / 60 == float(guide["sample_interval_max_min"])
    assert RETAIL.growth_warning_log10.value == float(guide["vegetative_release_log"])
    targets = {
        "lethality_beef_log": hold_table("fsis-meat-6.5log").target_log10,
        "lethality_patties_log": hold_table("fsis-meat-5log").target_log10,
        "lethality_poultry_log": hold_table("fsis-poultry-7log").target_log10,
    }
    assert targets == {key: float(guide[key]) for key in targets}
    assert hold_table("fsis-poultry-160f").rows[0].temp_f == float(guide["poultry_instant_f"])


@pytest.mark.parametrize("option", ["1", "2"])
def test_cooling_schemes_equal_the_published_options(option: str) -> None:
    printed = [
        (float(r["from_f"]), float(r["to_f"]), float(r["max_hours"]))
        for r in vectors("fsis_cooling_options.csv")
        if r["option"].split("_")[0] == option
    ]
    held = [
        (round(fahrenheit(s.from_mc)), round(fahrenheit(s.to_mc)), s.limit_ms / 3_600_000)
        for s in steps_named(f"fsis-option-{option}")
    ]
    assert held == printed


def test_slow_cured_cooling_ends_at_either_published_temperature() -> None:
    rows = [r for r in vectors("fsis_cooling_options.csv") if r["option"] == "3"]
    for scheme, end_f in (("slow-cured-40f", 40), ("slow-cured-45f", 45)):
        steps = steps_named(scheme)
        assert [s.limit_ms / 3_600_000 for s in steps] == [float(r["max_hours"]) for r in rows]
        assert round(fahrenheit(steps[-1].to_mc)) == end_f
    assert steps[-1].source.endswith("from memory")


def test_retail_cooling_runs_both_clocks_from_135_f() -> None:
    first, second = steps_of(RETAIL)
    assert (first.from_mc, first.limit_ms) == (57_222, 7_200_000)
    assert (second.from_mc, second.limit_ms) == (57_222, 21_600_000)
    assert (first.to_mc, second.to_mc) == (21_111, 5_000)


def test_plant_cooling_runs_its_second_clock_from_80_f() -> None:
    first, second = steps_of(shipped_policy("inspected-plant"))
    assert round(fahrenheit(first.from_mc)) == 130
    assert second.from_mc == first.to_mc == 26_667
    assert second.limit_ms == 5 * 3_600_000


@pytest.mark.parametrize("name", shipped_names())
def test_every_limit_of_every_policy_has_a_source(name: str) -> None:
    policy = shipped_policy(name)
    for field in fields(policy):
        limit = getattr(policy, field.name)
        if isinstance(limit, Cited):
            assert policy.cite(limit).endswith(f"({name} {policy.version})")
            assert len(limit.source) > 8, field.name


def test_own_choices_say_that_they_have_no_source() -> None:
    assert "no source" in RETAIL.cite(RETAIL.settle)


def test_a_file_laid_over_a_policy_changes_only_what_it_names() -> None:
    text = """
    [policy]
    name = "county"
    version = "2"
    base = "retail-food-code"
    [cook_intact]
    value = "fsis-meat-7log"
    source = "county health code, chapter 4"
    """
    county = parse_policy(text)
    assert county.cook_intact.value == "fsis-meat-7log"
    assert county.hot_hold == RETAIL.hot_hold
    assert county.name == "county"


HEAD = '[policy]\nname = "mine"\nversion = "1"\nbase = "retail-food-code"\n'


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (HEAD + '[hot_hould]\nvalue = "135F"\nsource = "a code"\n', r"mine.toml:5: unknown key"),
        (HEAD + '[hot_hould]\nvalue = "135F"\nsource = "a code"\n', r"did you mean 'hot_hold'"),
        (HEAD + '[hot_hold]\nvalue = "135F"\n', r"mine.toml:5: 'hot_hold.source' is missing"),
        (HEAD + '[hot_hold]\nvalue = "135"\nsource = "a code"\n', r"mine.toml:6: .*no unit"),
        (HEAD + '[cook_ground]\nvalue = "rare"\nsource = "a code"\n', r"mine.toml:6: unknown cook"),
        (HEAD + '[cooling_middle]\nvalue = "140F"\nsource = "a code"\n', r"contradicts itself"),
        ('[policy]\nname = "mine"\nversion = "1"\n', r"no limit for max_gap.*base ="),
        (HEAD.replace("retail-food-code", "retail"), r"unknown policy 'retail'"),
        ("[policy\n", r"mine.toml:1: not valid TOML"),
    ],
)
def test_a_policy_file_that_cannot_be_used_says_why_and_where(text: str, wanted: str) -> None:
    with pytest.raises(ConfigError, match=wanted):
        parse_policy(text, "mine.toml")


def test_an_unknown_policy_names_the_nearest() -> None:
    with pytest.raises(ConfigError, match="did you mean 'home'"):
        shipped_policy("hom")


CONFLICTS = {
    "130 F roast hold: 112 or 121 min": ("cook_intact", "fsis-meat-7log"),
    "ground at 155 F: 17 or 15 s": ("cook_ground", "food-code-ground-pre-2017"),
    "poultry: at once, 15 s, by table, or 160 F": ("cook_poultry", "fsis-poultry-7log"),
    "hot hold: 135 or 140 F": ("hot_hold", "140F"),
    "hot hold of charted roasts": ("hot_hold_roasts", "hot-hold-roast"),
    "danger zone, low": ("danger_low", "40F"),
    "danger zone, high": ("danger_high", "140F"),
    "time out of control": ("out_of_control", "2 h"),
    "time out of control on a hot day": ("out_of_control_hot_day", "1 h"),
    "cooling scheme": ("cooling_second", "fsis-option-2"),
    "where the cooling clock starts": ("cooling_start", "130F"),
    "pit temperature": ("oven_advice", "silent"),
    "come-up: warn or judge": ("come_up_verdict", "judge"),
    "table or integral": ("lethality_by", "integral"),
    "margin of low rows": ("low_margin", "130F"),
    "scale tolerance above 4000 e": ("scale_region", "oiml"),
    "boiling at sea level": ("boiling_reference", "nominal"),
    "rate unit of the 2011 set": ("growth_unit", "1/h"),
    "end of slow cured cooling": ("cooling_second", "slow-cured-45f"),
    "susceptible guests": ("time_control_susceptible", "no-raw-eggs"),
}


@pytest.mark.parametrize("conflict", CONFLICTS)
def test_every_conflict_of_the_sources_is_one_field_a_person_can_settle(conflict: str) -> None:
    field, value = CONFLICTS[conflict]
    tables = [(field, value), ("hot_hold_warning", "145F")]
    text = "".join(f'[{key}]\nvalue = "{v}"\nsource = "the local code"\n' for key, v in tables)
    settled = parse_policy(HEAD + text)
    names = [held.name for held in fields(settled)]
    changed = {name for name in names if getattr(settled, name) != getattr(RETAIL, name)}
    assert changed - {"name", "version", "title", "hot_hold_warning"} == {field}
