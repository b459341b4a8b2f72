"""A sample as bytes: each format that a driver reads, written.

The layouts and their sources stand in the module docstrings of the drivers' decoders. An
emulated device can only say what its format can: 5 g steps in a Bluetooth Weight
Measurement, no reason beside "no value" in most.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from datetime import datetime

from pitlogger.model.quantities import MG_PER
from pitlogger.model.readings import Quality
from pitlogger_simulators.devices.instruments import Sample

_DECIMALS = {"kg": 3, "g": 0, "lb": 2, "oz": 1}
_HID_UNIT = {"g": (2, 0), "kg": (3, -3), "oz": (11, -1), "lb": (12, -2)}
_HID_FAULT = {Quality.OVERLOAD: 6, Quality.UNDERLOAD: 5}
_FLOAT_NO_VALUE = 0x007FFFFF


def in_unit(grams: float, unit: str) -> float:
    """Return a mass in ``kg``, ``g``, ``lb`` or ``oz``."""
    return grams * 1000 / float(MG_PER[unit])


def header_line(sample: Sample, unit: str = "kg") -> bytes:
    """Return ``ST,GS,+  1.234kg`` CR LF: the header family of serial scales."""
    if sample.value is None:
        word = "OL" if sample.quality is Quality.OVERLOAD else "UL"
        return f"{word},GS,+99999.9{unit}\r\n".encode()
    status = "US" if sample.stable is False else "ST"
    value = in_unit(sample.value, unit)
    sign = "-" if value < 0 else "+"
    return f"{status},GS,{sign}{abs(value):8.{_DECIMALS[unit]}f}{unit}\r\n".encode()


def csv_header(names: Mapping[str, str]) -> bytes:
    """Return the header line of a micro-controller: ``pit_c,brisket_1_core_c`` LF.

    Args:
        names: Column by channel.
    """
    return (",".join(names.values()) + "\n").encode()


def csv_values(samples: Mapping[str, Sample | None]) -> bytes:
    """Return a line of values; what has none is ``nan``, ``open`` or empty."""
    fields = []
    for sample in samples.values():
        if sample is None:
            fields.append("")
        elif sample.value is None:
            fields.append("open" if sample.quality is Quality.OPEN else "nan")
        else:
            fields.append(f"{sample.value:.2f}")
    return (",".join(fields) + "\n").encode()


def weight_measurement(sample: Sample, imperial: bool = False, at: datetime | None = None) -> bytes:
    """Return a Weight Measurement (0x2A9D); it has no sign, and below zero it is zero.

    Args:
        at: What the scale's clock says; ``None`` for one that has no clock.
    """
    flags = (1 if imperial else 0) | (0 if at is None else 2)
    if sample.value is None:
        weight = 0xFFFF
    else:
        steps = in_unit(sample.value, "lb") * 100 if imperial else sample.value / 5
        weight = min(max(round(steps), 0), 0xFFFE)
    return struct.pack("<BH", flags, weight) + (b"" if at is None else date_time(at))


def date_time(at: datetime) -> bytes:
    """Return a Date Time (0x2A08)."""
    return struct.pack("<HBBBBB", at.year, at.month, at.day, at.hour, at.minute, at.second)


def temperature_measurement(sample: Sample, fahrenheit: bool = False) -> bytes:
    """Return a Temperature Measurement (0x2A1C or 0x2A1E), one decimal."""
    flags = 1 if fahrenheit else 0
    if sample.value is None:
        return struct.pack("<BI", flags, _FLOAT_NO_VALUE)
    value = sample.value * 1.8 + 32 if fahrenheit else sample.value
    mantissa = round(value * 10) & 0xFFFFFF
    return struct.pack("<BI", flags, 0xFF000000 | mantissa)


def environmental_temperature(sample: Sample) -> bytes:
    """Return a Temperature (0x2A6E); above 327.67 C it can only say "no value"."""
    if sample.value is None or not -273.15 <= sample.value <= 327.67:
        return struct.pack("<h", -0x8000)
    return struct.pack("<h", round(sample.value * 100))


def battery_level(percent: float) -> bytes:
    """Return a Battery Level (0x2A19)."""
    return bytes((min(100, max(0, round(percent))),))


def hid_report(sample: Sample, unit: str = "g") -> bytes:
    """Return the data report of a USB HID scale."""
    code, power = _HID_UNIT[unit]
    if sample.value is None:
        return struct.pack("<BBBbH", 3, _HID_FAULT.get(sample.quality, 1), code, power, 0)
    weight = round(in_unit(sample.value, unit) / 10.0**power)
    status = 3 if sample.stable is False else 5 if weight < 0 else 2 if weight == 0 else 4
    return struct.pack("<BBBbH", 3, status, code, power, min(abs(weight), 0xFFFF))


def bthome(packet_id: int, battery_pct: float, temperatures_c: Sequence[float]) -> bytes:
    """Return plain BTHome v2 service data: packet id, battery, then each temperature."""
    data = bytes((0x40, 0x00, packet_id & 0xFF, 0x01)) + battery_level(battery_pct)
    for heat_c in temperatures_c:
        data += b"\x02" + struct.pack("<h", round(heat_c * 100))
    return data


def modbus_reply(unit: int, function: int, samples: Sequence[Sample | None]) -> bytes:
    """Return a Modbus RTU reply with one signed register of 0.1 C a sample.

    A probe without a value is 0x7FFF, as transmitters say it.
    """
    values = [
        0x7FFF if sample is None or sample.value is None else round(sample.value * 10)
        for sample in samples
    ]
    frame = bytes((unit, function, 2 * len(values))) + struct.pack(f">{len(values)}h", *values)
    return frame + modbus_crc(frame)


def modbus_crc(data: bytes) -> bytes:
    """Return the CRC-16 of Modbus RTU (0xA001, start 0xFFFF), low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return struct.pack("<H", crc)


def w1_text(sample: Sample) -> str:
    """Return the two lines of a 1-Wire ``w1_slave`` file; a lost sensor reads all ones."""
    if sample.value is None:
        data = bytes((0xFF,) * 9)
        milli_c, crc = -62, crc8(data[:8])
    else:
        sixteenths = round(sample.value * 16)
        # Byte 6 counts what is left of the conversion; 0x0C alone is the state after power-on.
        scratchpad = struct.pack("<hBBBBBB", sixteenths, 0x4B, 0x46, 0x7F, 0xFF,
                                 0x10 - (sixteenths & 0xF), 0x10)  # fmt: skip
        crc = crc8(scratchpad)
        data = scratchpad + bytes((crc,))
        milli_c = round(sixteenths * 62.5)
    shown = " ".join(f"{byte:02x}" for byte in data)
    word = "YES" if data[8] == crc else "NO"
    return f"{shown} : crc={data[8]:02x} {word}\n{shown} t={milli_c}\n"


def crc8(data: bytes) -> int:
    """Return the 1-Wire check byte: polynomial x^8 + x^5 + x^4 + 1, reflected, from zero.

    Source: the Linux kernel's w1 core, table of the same polynomial.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def senml_pack(channel: str, sample: Sample, t_s: float) -> bytes:
    """Return a SenML pack of one record, as a board sends it by MQTT."""
    record: dict[str, object] = {"n": channel, "t": t_s}
    if sample.value is None:
        record["vs"] = f"!{sample.quality.value}"
    else:
        record |= {"u": "Cel", "v": round(sample.value, 3)}
    return json.dumps([record], separators=(",", ":")).encode()
