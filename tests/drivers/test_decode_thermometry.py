"""Thermocouple and thermistor arithmetic.

Vectors: tests/data/type_k_check.csv (six rows of the NIST ITS-90 table, the rest an independent
library), cold_junction_check.csv, thermistor_check.csv, steinhart_hart_check.csv.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import DecodeError, MalformedError, OutOfRangeError
from pitlogger.model.readings import Quality
from pitlogger_drivers.thermistor.decode import SteinhartHart
from pitlogger_drivers.thermistor.decode import decode as decode_thermistor
from pitlogger_drivers.type_k.decode import decode as decode_type_k
from pitlogger_drivers.type_k.decode import hot_junction_c
from pitlogger_drivers.type_k.its90 import temperature_c, voltage_mv

DATA = Path(__file__).parents[1] / "data"
BETA = "R25=100k,beta=3950"
STEINHART = "a=1.129148e-3,b=2.34125e-4,c=8.76741e-8"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(file))


def thermistor_c(text: str) -> float | None:
    return decode_thermistor(text.encode())[0].value


@pytest.mark.parametrize("row", rows("type_k_check.csv"), ids=lambda row: row["t90_C"])
def test_voltage_equals_the_reference_function(row: dict[str, str]) -> None:
    assert voltage_mv(float(row["t90_C"])) == pytest.approx(float(row["library_mV"]), abs=2e-6)


@pytest.mark.parametrize(
    "row", [row for row in rows("type_k_check.csv") if row["published_table_mV"]],
    ids=lambda row: row["t90_C"],
)  # fmt: skip
def test_voltage_equals_the_published_table(row: dict[str, str]) -> None:
    assert round(voltage_mv(float(row["t90_C"])), 3) == float(row["published_table_mV"])


@pytest.mark.parametrize("row", rows("type_k_check.csv"), ids=lambda row: row["t90_C"])
def test_inverse_is_better_than_the_published_polynomial(row: dict[str, str]) -> None:
    found = temperature_c(float(row["emf_mV_forward_poly"]))
    assert found == pytest.approx(float(row["t90_C"]), abs=1e-4)


@given(st.floats(-200, 1372))
def test_inverse_undoes_the_function(t_c: float) -> None:
    assert temperature_c(voltage_mv(t_c)) == pytest.approx(t_c, abs=1e-6)


@given(st.floats(-270, -200))
def test_inverse_holds_on_the_flat_end(t_c: float) -> None:
    assert voltage_mv(temperature_c(voltage_mv(t_c))) == pytest.approx(voltage_mv(t_c), abs=1e-6)


@pytest.mark.parametrize("t_c", [-270.1, 1372.1, float("nan")])
def test_function_is_refused_outside_its_range(t_c: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        voltage_mv(t_c)


@pytest.mark.parametrize(
    "row", rows("cold_junction_check.csv"), ids=lambda row: str(row["t_hot_C"])
)
def test_cold_junction_is_added_as_a_voltage(row: dict[str, str]) -> None:
    found = hot_junction_c(float(row["emf_measured_mV"]), float(row["t_cold_junction_C"]))
    assert found == pytest.approx(float(row["t_hot_C"]), abs=0.002)


def test_microvolts_are_millivolts() -> None:
    assert decode_type_k(b"uV=4096,cj=25") == decode_type_k(b"mV=4.096,cj=25")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "mV=4.096",
        "cj=25",
        "mV=1,uV=1,cj=25",
        "mV=nan,cj=25",
        "mV=4,096,cj=25",
        "mV=4.096,cj=25,x=1",
        "mV=4.096,mV=4,cj=25",
        "garbage",
    ],
)
def test_incomplete_thermocouple_text_is_refused(text: str) -> None:
    with pytest.raises(DecodeError):
        decode_type_k(text.encode())


@pytest.mark.parametrize("text", ["mV=55,cj=25", "mV=-7,cj=0", "mV=1,cj=2000"])
def test_voltage_no_type_k_gives_is_refused(text: str) -> None:
    with pytest.raises(OutOfRangeError):
        decode_type_k(text.encode())


@pytest.mark.parametrize("row", rows("thermistor_check.csv"), ids=lambda row: row["t_C"])
def test_beta_form(row: dict[str, str]) -> None:
    t_c, ohm = float(row["t_C"]), row["R_ohm (R25=100k beta=3950)"]
    assert thermistor_c(f"R={ohm},{BETA}") == pytest.approx(t_c, abs=0.002)


@pytest.mark.parametrize("row", rows("thermistor_check.csv"), ids=lambda row: row["t_C"])
def test_converter_count(row: dict[str, str]) -> None:
    adc = row["adc12 (thermistor low side, 10k to Vref)"]
    found = thermistor_c(f"adc={adc},full=4095,Rs=10k,{BETA}")
    assert found == pytest.approx(float(row["t_from_adc_C"]), abs=0.002)


@pytest.mark.parametrize("row", rows("steinhart_hart_check.csv"), ids=lambda row: row["R_ohm"])
def test_steinhart_hart(row: dict[str, str]) -> None:
    expected = float(row["t_C (a=1.129148e-3 b=2.34125e-4 c=8.76741e-8)"])
    assert thermistor_c(f"R={row['R_ohm']},{STEINHART}") == pytest.approx(expected, abs=0.001)


def test_three_points_give_the_curve_back() -> None:
    curve = SteinhartHart(1.129148e-3, 2.34125e-4, 8.76741e-8)
    found = SteinhartHart.through(*((ohm, curve(ohm)) for ohm in (30000.0, 2500.0, 100.0)))
    assert (found.a, found.b, found.c) == pytest.approx((curve.a, curve.b, curve.c), rel=1e-9)


@pytest.mark.parametrize(("adc", "quality"), [
    (0, Quality.SHORTED), (20, Quality.SHORTED), (4075, Quality.OPEN), (4095, Quality.OPEN),
])  # fmt: skip
def test_ends_of_the_count_are_faults(adc: int, quality: Quality) -> None:
    (found,) = decode_thermistor(f"adc={adc},Rs=10k,{BETA}".encode())
    assert (found.value, found.quality) == (None, quality)


@pytest.mark.parametrize("adc", [21, 4074])
def test_counts_next_to_the_faults_are_read(adc: int) -> None:
    (found,) = decode_thermistor(f"adc={adc},Rs=100k,R25=100k,beta=3950".encode())
    assert found.quality in (Quality.GOOD, Quality.OUT_OF_RANGE)


@pytest.mark.parametrize("ohm", ["1", "1e9", "1e-9"])
def test_absurd_temperature_has_no_value(ohm: str) -> None:
    (found,) = decode_thermistor(f"R={ohm},{BETA}".encode())
    assert (found.value, found.quality) == (None, Quality.OUT_OF_RANGE)


@pytest.mark.parametrize(
    "text",
    [
        "",
        f"R=0,{BETA}",
        f"R=-5,{BETA}",
        f"R=inf,{BETA}",
        "R=10000",
        "R=10k,beta=3950",
        f"R=1k,adc=5,Rs=1k,{BETA}",
        f"adc=5000,Rs=10k,{BETA}",
        f"adc=100,{BETA}",
        f"R=10k,{BETA},a=1",
        "R=10k,a=1,b=2",
        f"R=10k,full=4095,{BETA}",
        f"R=10k,{STEINHART},T0=25",
        "R=10k,R0=10k,T0=-300,beta=3950",
    ],
)
def test_incomplete_thermistor_text_is_refused(text: str) -> None:
    with pytest.raises(MalformedError if text else DecodeError):
        decode_thermistor(text.encode())
