"""Checks of thermometers and scales against published values and a second library.

Sources: IAPWS-IF97 region 4 and its check values; the standard atmosphere; NIST Handbook 44
section 2.20; OIML R 76-1 Table 6 and Directive 90/384/EEC.
"""

from __future__ import annotations

import math

import pytest
from CoolProp.CoolProp import PropsSI

from pitlogger.errors import QuantityError
from pitlogger.safety.instruments.checks import (
    boil_check,
    boiling_point_c,
    ice_check,
    parse_altitude_m,
    parse_pressure_pa,
    standard_pressure_pa,
    suspect_span,
    tolerance,
)
from pitlogger.safety.instruments.scale_check import scale_check, tolerance_e
from tests.safety.building import RETAIL, vectors

PER_UNIT = {"g": 1000, "lb": 453_592.37}


def in_f(temp_c: float) -> float:
    return temp_c * 1.8 + 32


def test_saturation_line_equals_the_check_values() -> None:
    items = {row["item"]: float(row["value"]) for row in vectors("iapws_if97_region4.csv")}
    for mega in ("0.1", "1", "10"):
        kelvin = boiling_point_c(float(mega) * 1e6) + 273.15
        assert kelvin == pytest.approx(items[f"tsat_K_at_{mega}_MPa"], abs=5e-7)
    for kelvin in (300, 500, 600):
        pressure_pa = items[f"psat_MPa_at_{kelvin}_K"] * 1e6
        if pressure_pa >= 611.213:
            assert boiling_point_c(pressure_pa) + 273.15 == pytest.approx(kelvin, abs=5e-6)


@pytest.mark.parametrize("hpa", [500, 650, 800, 950, 1013.25, 1040])
def test_boiling_point_equals_a_second_library(hpa: float) -> None:
    other = PropsSI("T", "P", hpa * 100, "Q", 0, "IF97::Water") - 273.15
    assert boiling_point_c(hpa * 100) == pytest.approx(other, abs=1e-5)
    reference = PropsSI("T", "P", hpa * 100, "Q", 0, "HEOS::Water") - 273.15
    assert boiling_point_c(hpa * 100) == pytest.approx(reference, abs=0.01)


def test_boiling_point_by_altitude_equals_the_published_table() -> None:
    for row in vectors("boiling_point_altitude.csv"):
        pressure_pa = standard_pressure_pa(float(row["altitude_m"]))
        assert pressure_pa / 100 == pytest.approx(float(row["isa_pressure_hpa"]), abs=0.006)
        assert boiling_point_c(pressure_pa) == pytest.approx(float(row["tsat_if97_c"]), abs=6e-4)
        low = float(row["altitude_ft"]) <= 8000
        for column in (
            "published_table_a_f_agency", "published_table_b_f_home_canning_guide",
        ):  # fmt: skip
            if row[column]:
                found = in_f(boiling_point_c(pressure_pa))
                assert found == pytest.approx(float(row[column]), abs=0.25 if low else 0.41)


def test_boiling_point_by_pressure_equals_the_published_table() -> None:
    for row in vectors("boiling_point_pressure.csv"):
        hpa = parse_pressure_pa(f"{row['station_pressure_hpa']} hPa")
        assert boiling_point_c(hpa) == pytest.approx(float(row["tsat_if97_c"]), abs=6e-4)
        inhg = parse_pressure_pa(f"{row['station_pressure_inhg']} inHg")
        assert in_f(boiling_point_c(inhg)) == pytest.approx(float(row["tsat_if97_f"]), abs=0.006)


def test_an_ice_check_gives_the_offset_that_puts_it_right() -> None:
    found = ice_check(500, 1111, "a source")
    assert (found.error_mc, found.offset_mc, found.is_within) == (500, -500, True)
    assert found.reading_mc + found.offset_mc == found.expected_mc


@pytest.mark.parametrize(
    ("sensor", "unit", "edge_mc"),
    [("food", "F", 1111), ("food", "C", 1000), ("air", "F", 1667), ("air", "C", 1500)],
)
def test_a_thermometer_is_within_up_to_its_tolerance(sensor: str, unit: str, edge_mc: int) -> None:
    limit = tolerance(RETAIL, sensor, unit)  # type: ignore[arg-type]
    assert limit.mc == edge_mc
    assert ice_check(edge_mc, limit.mc, "").is_within
    assert not ice_check(edge_mc + 100, limit.mc, "").is_within
    assert not ice_check(-edge_mc - 100, limit.mc, "").is_within


def test_nominal_boiling_is_212_f_at_the_standard_pressure() -> None:
    found = boil_check(100_000, 1111, "", pressure_pa=101_325, reference="nominal")
    assert found.expected_mc == 100_000
    assert boil_check(100_000, 1111, "", pressure_pa=101_325).expected_mc == 99_974


def test_a_boil_check_needs_one_of_altitude_and_pressure() -> None:
    for given_both in ({}, {"altitude_m": 100.0, "pressure_pa": 100_000.0}):
        with pytest.raises(QuantityError, match="one of them"):
            boil_check(99_000, 1111, "", **given_both)  # type: ignore[arg-type]


def test_a_failed_check_puts_readings_in_doubt_back_to_the_last_good_one() -> None:
    assert suspect_span([(1, True), (5, True), (9, False)]) == (5, 9)
    assert suspect_span([(1, True), (5, False), (9, False)]) == (1, 9)
    assert suspect_span([(9, False)]) == (None, 9)
    assert suspect_span([(1, False), (9, True)]) is None
    assert suspect_span([]) is None


@pytest.mark.parametrize("text", ["240", "240 mi", "tall", "-501 m", "9001 m"])
def test_an_altitude_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match="altitude"):
        parse_altitude_m(text)


@pytest.mark.parametrize("text", ["1013", "1013 psi", "29.9 hPa", "1013 inHg"])
def test_a_pressure_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match="pressure"):
        parse_pressure_pa(text)


def test_written_altitudes_and_pressures_are_read_in_their_unit() -> None:
    assert parse_altitude_m("5280ft") == pytest.approx(1609.344)
    assert parse_altitude_m("1.2 km") == pytest.approx(1200)
    assert parse_pressure_pa("29.92 inHg") == pytest.approx(101_320.8, abs=0.1)
    assert parse_pressure_pa("98.5kPa") == pytest.approx(98_500)


@pytest.mark.parametrize("name", ["nist_hb44_class_iii.csv", "oiml_r76_class_iii.csv"])
def test_class_iii_steps_equal_the_published_ones(name: str) -> None:
    for row in vectors(name):
        if name.startswith("nist"):
            low, high = row["test_load_min_divisions"], row["test_load_max_divisions"]
            columns = {
                "maintenance": "maintenance_tolerance_divisions",
                "acceptance": "acceptance_tolerance_divisions",
            }
            region = "hb44"
        else:
            low, high = row["load_over_e"], row["load_up_to_e"]
            columns = {"verification": "mpe_verification_e", "in-service": "mpe_in_service_e"}
            region = "oiml"
        for kind, column in columns.items():
            expected = float(row[column])
            assert tolerance_e(float(high), region, kind)[0] == expected
            assert tolerance_e(float(low) + 0.5, region, kind)[0] == expected


def test_tolerances_equal_the_published_examples() -> None:
    for row in vectors("scale_tolerance_vectors.csv"):
        per = PER_UNIT[row["unit"]]
        mass_mg, e_mg = (round(float(row[name]) * per) for name in ("test_load", "e"))
        for column, region, kind in (
            ("hb44_maintenance", "hb44", "maintenance"),
            ("hb44_acceptance", "hb44", "acceptance"),
            ("oiml_verification", "oiml", "verification"),
            ("oiml_in_service", "oiml", "in-service"),
        ):
            if row["unit"] == "g":
                found = scale_check(mass_mg, mass_mg, e_mg, region, kind)
                assert found.tolerance_mg / per == pytest.approx(float(row[column]))
            steps, _ = tolerance_e(float(row["load_in_divisions"]), region, kind)
            assert steps * float(row["e"]) == pytest.approx(float(row[column]))


def test_a_load_in_pounds_keeps_its_step_at_the_edge() -> None:
    """30 lb on a scale of 0.06 lb is 500 intervals, though milligrams are rounded."""
    mass_mg, e_mg = round(30 * 453_592.37), round(0.06 * 453_592.37)
    assert scale_check(mass_mg, mass_mg, e_mg, "hb44", "maintenance").tolerance_mg == e_mg


def test_class_iii_begins_where_its_parameters_say() -> None:
    grams = [
        float(row["e_min"].removesuffix(" g"))
        for row in vectors("scale_class_parameters.csv")
        if row["class"] == "III" and row["e_min"].endswith(" g")
    ]
    least_mg = round(min(grams) * 1000)
    assert scale_check(20_000, 20_000, least_mg).is_within
    with pytest.raises(QuantityError, match=r"0\.1 g"):
        scale_check(20_000, 20_000, least_mg - 1)


def test_a_capacity_of_too_few_intervals_is_told() -> None:
    found = scale_check(1_000_000, 1_000_000, 5000, capacity_mg=2_000_000)
    assert any("fewer intervals" in note for note in found.notes)


def test_an_added_mass_takes_the_rounding_out() -> None:
    """Reading 1000 g, e 5 g, 1.5 g added until it stepped on: 1001 g truly shown."""
    found = scale_check(1_000_000, 1_000_000, 5000, added_mg=1500)
    assert found.error_mg == 1000
    assert found.offset_mg == -1000


@pytest.mark.parametrize(
    ("mass", "reading", "e", "region", "kind", "wanted"),
    [
        (0, 0, 1000, "hb44", "maintenance", "test mass must be above zero"),
        (1000, 1000, 0, "hb44", "maintenance", "interval must be above zero"),
        (10_001_000, 10_001_000, 1000, "hb44", "maintenance", "outside class III"),
        (1000, 1000, 1000, "oiml", "acceptance", "use verification or in-service"),
        (1000, 1000, 1000, "mars", "acceptance", "unknown region"),
    ],
)
def test_a_scale_check_that_cannot_be_is_refused(
    mass: int, reading: int, e: int, region: str, kind: str, wanted: str
) -> None:
    with pytest.raises(QuantityError, match=wanted):
        scale_check(mass, reading, e, region, kind)


def test_published_slope_of_boiling_with_pressure() -> None:
    """0.0277 C per hPa near the standard pressure."""
    slope = (boiling_point_c(101_425) - boiling_point_c(101_225)) / 2
    assert math.isclose(slope, 0.0277, abs_tol=2e-4)
