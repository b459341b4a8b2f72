"""Decoders against independent implementations, on inputs made here.

bthome-ble 3.25.0 for BTHome payloads (it rounds 0x58, in steps of 0.35 degC, to one decimal,
and keeps one of two masses in kg and lb); bluetooth-sig 0.6.0 for GATT (it does not know the weight
0xFFFF, and reads the exponent of a FLOAT wrongly, so 0x2A1C is left out); pymodbus 3.16.1 for
CRC and register types; thermocouples_reference 0.20 for type K.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy
import pytest
from bluetooth_sig.gatt.characteristics import (
    HumidityCharacteristic,
    TemperatureCharacteristic,
    WeightMeasurementCharacteristic,
)
from bthome_ble import BTHomeBluetoothDeviceData
from bthome_ble.const import MEAS_TYPES
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.framer.rtu import FramerRTU
from thermocouples_reference import thermocouples  # type: ignore[import-untyped]

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger_drivers.bthome.decode import SERVICE, BTHomeDecoder
from pitlogger_drivers.bthome.objects import BYTES
from pitlogger_drivers.environmental.decode import decode_humidity, decode_temperature
from pitlogger_drivers.modbus.decode import crc16
from pitlogger_drivers.modbus.registers import parse_map, read
from pitlogger_drivers.type_k.its90 import voltage_mv
from pitlogger_drivers.weight_scale.decode import decode as decode_weight

VALUED = (0x01, 0x02, 0x03, 0x06, 0x07, 0x08, 0x0C, 0x2E, 0x45, 0x4A, 0x57)
PERCENT = {0x01, 0x2E}
LENGTH_PREFIXED = {0x3B, 0x53, 0x54}


def oracle_values(payload: bytes) -> list[float]:
    """Return the numbers bthome-ble makes of a plain payload, in order."""
    info: Any = SimpleNamespace(
        name="oracle", address="54:48:E6:8F:80:A5", time=0.0, rssi=-60, manufacturer_data={},
        service_data={SERVICE: b"\x40" + payload}, service_uuids=[SERVICE], source="",
    )  # fmt: skip
    update = BTHomeBluetoothDeviceData().update(info)
    return [
        float(value.native_value)
        for key, value in update.entity_values.items()
        if key.key != "signal_strength" and isinstance(value.native_value, int | float)
    ]


def our_values(payload: bytes) -> list[float | None]:
    outcomes = BTHomeDecoder().feed(Chunk("", b"\x40" + payload))
    return [found.value for found in outcomes if isinstance(found, Measurement)]


def test_lengths_of_objects_equal_those_of_the_reference_decoder() -> None:
    known = {kind: entry.data_length for kind, entry in MEAS_TYPES.items()}
    assert {kind: known[kind] for kind in known if kind not in LENGTH_PREFIXED} == BYTES


@given(st.sampled_from(VALUED), st.lists(st.binary(min_size=2, max_size=2), max_size=6))
@settings(max_examples=300, deadline=None)
def test_bthome_values_equal_those_of_the_reference_decoder(kind: int, raws: list[bytes]) -> None:
    payload = b"".join(
        bytes([kind]) + (bytes([raw[0] % 101]) if kind in PERCENT else raw[: BYTES[kind]])
        for raw in raws
        if kind != 0x03 or int.from_bytes(raw, "little") <= 10000
    )
    assert our_values(payload) == pytest.approx(oracle_values(payload))


@pytest.mark.parametrize("raw", range(256))
def test_bthome_step_of_0_35_equals_the_reference_decoder_to_one_decimal(raw: int) -> None:
    payload = bytes([0x58, raw])
    assert our_values(payload) == pytest.approx(oracle_values(payload), abs=0.0501)


@given(st.integers(-27315, 32767))
def test_temperature_equals_bluetooth_sig(raw: int) -> None:
    frame = raw.to_bytes(2, "little", signed=True)
    expected = TemperatureCharacteristic().parse_value(bytearray(frame))
    assert decode_temperature(frame)[0].value == pytest.approx(expected, abs=1e-9)


@given(st.integers(0, 10000))
def test_humidity_equals_bluetooth_sig(raw: int) -> None:
    frame = raw.to_bytes(2, "little")
    expected = HumidityCharacteristic().parse_value(bytearray(frame))
    assert decode_humidity(frame)[0].value == pytest.approx(expected, abs=1e-9)


@given(st.integers(0, 0xFFFE), st.sampled_from([0x00, 0x01]))
def test_weight_equals_bluetooth_sig(raw: int, flags: int) -> None:
    frame = bytes([flags]) + raw.to_bytes(2, "little")
    expected = WeightMeasurementCharacteristic().parse_value(bytearray(frame))
    assert decode_weight(frame)[0].value == pytest.approx(expected.weight, abs=1e-9)


@given(st.binary(min_size=1, max_size=40))
def test_crc_equals_pymodbus(data: bytes) -> None:
    # pymodbus keeps the value with its bytes in the order they are sent.
    assert crc16(data).to_bytes(2, "little") == FramerRTU.compute_CRC(data).to_bytes(2, "big")


@pytest.mark.parametrize(("kind", "order"), [
    ("i16", "big"), ("u16", "big"), ("i32-be", "big"), ("i32-le", "little"), ("u32-be", "big"),
    ("u32-le", "little"), ("f32-be", "big"), ("f32-le", "little"),
])  # fmt: skip
@given(number=st.integers(0, 30000))
def test_register_types_equal_pymodbus(kind: str, order: Any, number: int) -> None:
    types = ModbusClientMixin.DATATYPE
    datatype = {
        "i16": types.INT16, "u16": types.UINT16, "i32": types.INT32, "u32": types.UINT32,
        "f32": types.FLOAT32,
    }[kind[:3]]  # fmt: skip
    registers = ModbusClientMixin.convert_to_registers(number, datatype, word_order=order)
    data = b"".join(register.to_bytes(2, "big") for register in registers)
    (found,) = read(data, parse_map(f"0:{kind}:1:g"))
    assert isinstance(found, Measurement)
    assert found.value == number


def test_type_k_equals_an_independent_library(monkeypatch: pytest.MonkeyPatch) -> None:
    # The library was written for NumPy 1, where copy=False meant "copy if need be".
    strict = numpy.array
    monkeypatch.setattr(
        numpy, "array", lambda *args, copy=True, **keys: strict(*args, copy=copy or None, **keys)
    )
    reference = thermocouples["K"]
    for t_c in range(-270, 1373, 7):
        expected = reference.emf_mVC(float(t_c), Tref=0)
        assert voltage_mv(t_c) == pytest.approx(float(expected), abs=1e-6)
