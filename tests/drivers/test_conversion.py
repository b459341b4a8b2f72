"""Millivolts and ohms that come in lines or frames become temperatures."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.devices.registry import Registry, configure
from pitlogger.errors import ConfigError, DecodeError, OutOfRangeError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality


def csv(convert: dict[str, str], *lines: str, **keys: Any) -> list[Measurement | DecodeError]:
    """Return what a board's lines give."""
    driver = Registry().load("csv-line")
    config = configure(driver.info, {"port": "x", "convert": convert, **keys}, "test")
    text = "\n" + "".join(f"{line}\n" for line in lines)
    return list(driver({}).decoder(config).feed(Chunk("", text.encode())))


def declared(convert: str, frame: str, unit: str = "Cel") -> list[Measurement | DecodeError]:
    """Return what a declared frame gives: a raw u32 and the terminals in tenths of a degree."""
    text = (
        'name = "raw"\n[source]\nkind = "advertisement"\ncompany = 1\n'
        f'[[value]]\nchannel = "pit"\nat = 0\ntype = "u32"\nscale = 0.001\nunit = "{unit}"\n'
        f'convert = "{convert}"\n'
        '[[value]]\nchannel = "terminals"\nat = 4\ntype = "i16"\nscale = 0.1\nunit = "Cel"\n'
    )
    decoder = load("declared").build(DecodeOptions(declaration=text))
    return list(decoder.feed(Chunk("", bytes.fromhex(frame))))


def only(found: list[Measurement | DecodeError], channel: str) -> Measurement:
    (one,) = [f for f in found if isinstance(f, Measurement) and f.channel == channel]
    return one


THERMISTOR = "thermistor R=*,R25=100k,beta=3950"


def test_a_resistance_in_a_line_becomes_a_temperature() -> None:
    found = only(csv({"pit": THERMISTOR}, "5739.89,21.5", map="pit:V,room:Cel"), "pit")
    # 1/T = 1/298.15 + ln(5739.89/100000)/3950, the beta form of Steinhart and Hart (1968)
    assert (found.value, found.unit, found.quantity) == (107.0, "Cel", Quantity.TEMPERATURE)


def test_a_column_without_a_unit_needs_none_once_it_is_converted() -> None:
    found = csv({"pit": THERMISTOR}, "pit,room_c", "5739.89,21.5")
    assert only(found, "pit").value == 107.0


def test_the_terminals_of_a_thermocouple_are_another_channel() -> None:
    # 4.096 mV with terminals at 25 degC is 124.310 degC (NIST ITS-90, type K).
    frame = (4096).to_bytes(4, "little").hex() + (250).to_bytes(2, "little").hex()
    found = declared("type-k mV=*,cj=@terminals", frame)
    assert only(found, "pit").value == pytest.approx(124.31, abs=0.001)
    assert only(found, "terminals").value == 25.0


def test_terminals_in_fahrenheit_are_converted_first() -> None:
    convert = {"pit": "type-k mV=*,cj=@terminals"}
    found = csv(convert, "4.096,77.0", map="pit:V,terminals:degF")
    assert only(found, "pit").value == pytest.approx(124.31, abs=0.001)


def test_a_thermocouple_whose_terminals_are_unknown_has_no_value() -> None:
    found = csv({"pit": "type-k mV=*,cj=@terminals"}, "4.096,nan", map="pit:V,terminals:Cel")
    pit = only(found, "pit")
    assert (pit.value, pit.quality) == (None, Quality.NO_VALUE)


def test_an_open_thermistor_is_open() -> None:
    convert = {"pit": "thermistor adc=*,full=1023,Rs=10k,R25=100k,beta=3950"}
    pit = only(csv(convert, "1023,20.0", map="pit:V,room:Cel"), "pit")
    assert (pit.value, pit.quality) == (None, Quality.OPEN)


def test_a_voltage_no_thermocouple_gives_is_a_named_error() -> None:
    found = csv({"pit": "type-k mV=*,cj=25"}, "99.0,20.0", map="pit:V,room:Cel")
    assert isinstance(found[0], OutOfRangeError)
    assert str(found[0]).startswith("pit: ")


@given(st.binary(max_size=12))
def test_any_bytes_give_a_heat_or_a_named_error(frame: bytes) -> None:
    for convert in ("type-k mV=*,cj=@terminals", THERMISTOR):
        for found in declared(convert, frame.hex()):
            if isinstance(found, DecodeError):
                assert type(found) is not DecodeError
            elif found.value is not None:
                assert math.isfinite(found.value)


@pytest.mark.parametrize(
    ("convert", "message"),
    [
        ("thermistor R25=100k,beta=3950", "with \\* for the value"),
        ("thermister R=*,R25=100k,beta=3950", "did you mean 'thermistor'"),
        ("thermistor R=*,beta=3950", "R0 is missing"),
        ("type-k mV=*", "no cold junction"),
    ],
)
def test_a_conversion_that_cannot_work_is_refused_at_once(convert: str, message: str) -> None:
    with pytest.raises(ConfigError, match=message):
        csv({"pit": convert})


def test_a_declared_conversion_gives_degrees_celsius() -> None:
    with pytest.raises(ConfigError, match='unit must be "Cel"'):
        declared(THERMISTOR, "00", unit="V")
