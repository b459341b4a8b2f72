"""What an emulated device sends is what its driver's decoder reads back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.devices.contract import Measurement, milli_units
from pitlogger.errors import DecodeError
from pitlogger.formats.capture import parse_capture
from pitlogger.model.readings import Quality, Reading
from pitlogger_drivers.battery import decode as battery
from pitlogger_drivers.csv_line.decode import CsvParser
from pitlogger_drivers.environmental.decode import decode_temperature
from pitlogger_drivers.health_thermometer import decode as thermometer
from pitlogger_drivers.hid_scale import decode as hid
from pitlogger_drivers.serial_scale import decode as serial_scale
from pitlogger_drivers.w1 import decode as w1
from pitlogger_drivers.weight_scale import decode as weight_scale
from pitlogger_simulators.devices import frames
from pitlogger_simulators.devices.instruments import Sample

MASSES = st.floats(0, 60_000)
HEATS = st.floats(-40, 300)


def only(outcomes: Iterable[Measurement | DecodeError]) -> Measurement:
    (found,) = outcomes
    assert isinstance(found, Measurement)
    return found


@given(MASSES, st.sampled_from(["kg", "g", "lb", "oz"]), st.booleans())
def test_a_header_line_carries_mass_unit_and_steadiness(
    grams: float, unit: str, stable: bool
) -> None:
    line = frames.header_line(Sample(grams, stable=stable), unit)
    found = only(serial_scale.decode(line.strip(b"\r\n")))
    step_mg = {"kg": 1_000, "g": 1_000, "lb": 4_536, "oz": 2_835}[unit]
    assert found.value is not None
    assert abs(milli_units(found.value, found.unit) - grams * 1000) <= step_mg / 2 + 1
    assert (found.unit, found.stable) == (unit, stable)


def test_an_overloaded_scale_sends_its_overload_line() -> None:
    line = frames.header_line(Sample(None, Quality.OVERLOAD))
    assert only(serial_scale.decode(line.strip())).quality is Quality.OVERLOAD


@given(MASSES)
def test_a_weight_measurement_has_steps_of_five_grams(grams: float) -> None:
    found = only(weight_scale.decode(frames.weight_measurement(Sample(grams))))
    assert found.value is not None
    assert abs(found.value * 1000 - grams) <= 2.5 + 1e-6


def test_a_weight_measurement_may_tell_its_time() -> None:
    at = datetime(2026, 5, 2, 23, 59, 58)  # noqa: DTZ001 - the field has no zone
    frame = frames.weight_measurement(Sample(1000.0), at=at)
    assert weight_scale.measured_at(frame) == at
    assert only(weight_scale.decode(frame)).value == 1.0
    assert weight_scale.measured_at(frames.weight_measurement(Sample(1000.0))) is None


def test_an_unsuccessful_weighing_has_no_value() -> None:
    found = only(weight_scale.decode(frames.weight_measurement(Sample(None, Quality.OVERLOAD))))
    assert (found.value, found.quality) == (None, Quality.NO_VALUE)


@given(HEATS, st.booleans())
def test_a_temperature_measurement_has_one_decimal(heat_c: float, fahrenheit: bool) -> None:
    found = only(thermometer.decode(frames.temperature_measurement(Sample(heat_c), fahrenheit)))
    assert found.value is not None
    assert abs(milli_units(found.value, found.unit) - heat_c * 1000) <= 51
    assert found.unit == ("degF" if fahrenheit else "Cel")


@given(HEATS)
def test_an_environmental_temperature_has_two_decimals(heat_c: float) -> None:
    found = only(decode_temperature(frames.environmental_temperature(Sample(heat_c))))
    assert found.value == pytest.approx(heat_c, abs=0.0051)


@pytest.mark.parametrize("sample", [Sample(None, Quality.OPEN), Sample(400.0)])
def test_what_environmental_sensing_cannot_say_is_no_value(sample: Sample) -> None:
    found = only(decode_temperature(frames.environmental_temperature(sample)))
    assert found.value is None


@pytest.mark.parametrize(("level", "shown"), [(-3.0, 0), (61.4, 61), (250.0, 100)])
def test_a_battery_level_stays_a_percentage(level: float, shown: int) -> None:
    assert only(battery.decode(frames.battery_level(level))).value == shown


@given(st.floats(-2000, 60_000), st.sampled_from(["g", "kg", "oz", "lb"]))
def test_a_hid_report_carries_sign_and_mass(grams: float, unit: str) -> None:
    step_g = {"g": 1.0, "kg": 1.0, "oz": 2.84, "lb": 4.54}[unit]
    found = only(hid.decode(frames.hid_report(Sample(grams, stable=True), unit)))
    assert found.value is not None
    assert abs(milli_units(found.value, found.unit) / 1000 - grams) <= step_g / 2 + 0.01


@given(st.floats(-40, 124).filter(lambda heat: abs(heat - 85.0) > 0.1))
def test_a_one_wire_sensor_has_sixteenths_of_a_degree(heat_c: float) -> None:
    found = only(w1.decode(frames.w1_text(Sample(heat_c)).encode()))
    assert found.value == pytest.approx(heat_c, abs=1 / 32 + 0.001)


def test_a_one_wire_sensor_that_is_gone_gives_no_believable_value() -> None:
    try:
        found = only(w1.decode(frames.w1_text(Sample(None, Quality.OPEN)).encode()))
    except DecodeError:
        return
    assert found.value is None or found.quality is not Quality.GOOD


def test_a_board_names_its_columns_and_says_what_is_open() -> None:
    parser = CsvParser()
    parser.parse(frames.csv_header({"pit": "pit_c", "a/core": "a_core_c"}).strip())
    line = frames.csv_values({"pit": Sample(107.25), "a/core": Sample(None, Quality.OPEN)})
    pit, core = parser.parse(line.strip())
    assert isinstance(pit, Measurement)
    assert isinstance(core, Measurement)
    assert (pit.channel, pit.value, pit.unit) == ("pit", 107.25, "Cel")
    assert (core.value, core.quality) == (None, Quality.OPEN)


def test_a_senml_pack_is_read_as_one_reading() -> None:
    (found,) = parse_capture([frames.senml_pack("pit", Sample(107.25), 1_700_000_000.5)])
    assert found == Reading("pit", 1_700_000_000_500, 107_250)
