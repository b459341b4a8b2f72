"""Conversions against pint, an independent units library, and what people write."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import QuantityError
from pitlogger.model.quantities import (
    fahrenheit,
    milli_c_from_fahrenheit,
    parse_duration_ms,
    parse_length_mm,
    parse_mass_mg,
    parse_temperature_mc,
    parse_temperature_step_mc,
    show_duration,
    show_mass,
    show_temperature,
)

UNITS: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)


@pytest.mark.parametrize(
    ("unit", "word"), [("kg", "kilogram"), ("g", "gram"), ("lb", "pound"), ("oz", "ounce")]
)
@given(tenths=st.integers(0, 1_000_000))
def test_masses_agree_with_pint(unit: str, word: str, tenths: int) -> None:
    number = Decimal(tenths) / 10
    expected = UNITS.Quantity(number, word).to("milligram").magnitude
    assert abs(parse_mass_mg(f"{number} {unit}") - expected) <= Decimal("0.5")


@given(tenths=st.integers(-4000, 10_000))
def test_temperatures_agree_with_pint(tenths: int) -> None:
    number = Decimal(tenths) / 10
    expected = UNITS.Quantity(number, "degF").to("degC").magnitude
    assert parse_temperature_mc(f"{number}F") == pytest.approx(float(expected) * 1000, abs=0.51)


def test_pounds_and_ounces_are_one_mass() -> None:
    assert parse_mass_mg("38 lb 12 oz") == parse_mass_mg("38.75 lb")
    assert parse_mass_mg("13lb7oz") == parse_mass_mg("13 lb 7 oz")
    assert parse_mass_mg("1 kg 250 g") == 1_250_000


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("6.4", "no unit"),
        ("-2 kg", "zero or more"),
        ("6,4 kg", "point for decimals"),
        ("6.4 stone", "unknown mass unit 'stone'"),
        ("13 lb 17 oz", "16 oz"),
        ("7 oz 13 lb", "not one mass"),
        ("heavy", "number with its unit"),
        ("", "number with its unit"),
        ("1e5 kg", "unknown mass unit"),
    ],
)
def test_a_bad_mass_is_told_with_what_was_expected(text: str, hint: str) -> None:
    with pytest.raises(QuantityError, match=hint):
        parse_mass_mg(text)


@pytest.mark.parametrize(
    ("text", "milli_c"), [("203F", 95_000), ("95 C", 95_000), ("-4 °F", -20_000)]
)
def test_temperatures_are_read_as_written(text: str, milli_c: int) -> None:
    assert parse_temperature_mc(text) == milli_c


@pytest.mark.parametrize("text", ["203", "hot", "-500 F", "203 K F", "F"])
def test_a_bad_temperature_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_temperature_mc(text)


def test_a_temperature_step_has_no_offset() -> None:
    assert parse_temperature_step_mc("-1.8F") == -1000
    assert parse_temperature_step_mc("2 C") == 2000


@pytest.mark.parametrize(
    ("text", "ms"), [("45 min", 2_700_000), ("1 h 30 min", 5_400_000), ("90s", 90_000)]
)
def test_durations(text: str, ms: int) -> None:
    assert parse_duration_ms(text) == ms


def test_a_duration_without_unit_is_refused() -> None:
    with pytest.raises(QuantityError, match="duration"):
        parse_duration_ms("45")


def test_lengths() -> None:
    assert parse_length_mm("7 cm") == 70
    assert parse_length_mm("2.75 in") == pytest.approx(69.85)
    with pytest.raises(QuantityError):
        parse_length_mm("7")


@given(milli_c=st.integers(-50_000, 400_000))
def test_fahrenheit_comes_back(milli_c: int) -> None:
    assert milli_c_from_fahrenheit(fahrenheit(milli_c)) == milli_c


def test_what_people_read() -> None:
    assert show_temperature(95_000) == "203 F"
    assert show_temperature(95_040, "C", 1) == "95.0 C"
    assert show_mass(6_095_147) == "13 lb 7 oz"
    assert show_mass(parse_mass_mg("15.97 oz")) == "1 lb 0 oz"
    assert show_mass(3_912_000, "kg") == "3.912 kg"
    assert show_duration(6_000_000) == "1 h 40 min"
    assert show_duration(25_000) == "25 s"
    assert show_duration(3_599_999) == "1 h"
