"""GATT attributes that say when, what and which: they tell the probes of one device apart.

Little-endian:

    attribute  bytes  fields
    0x2A08     7       Date Time: year u16, month, day, hour, minute, second; 0 = unknown date
    0x2A2B     10      Current Time: Date Time, weekday (1 Monday, 0 unknown), 1/256 s, reasons
    0x2904     7       Presentation Format: format u8, exponent s8, unit u16, namespace u8
                       (1 = SIG), description u16 (1..255 first..255th, 0x0106 main)
    0x290B     1       ES Configuration: 0 all triggers, 1 any
    0x290C     11      ES Measurement: flags u16, sampling function u8, period u24 s,
                       interval u24 s, application u8, uncertainty u8 (0.5 %)
    0x290D     1..     ES Trigger Setting: condition u8, then nothing, u24 s, or an operand
    0x2A9E     4       Weight Scale Feature: bit 0 time, 1 users, 2 BMI, 3-6 weight resolution
    0x2A21     2       Measurement Interval, u16 s

Example: ``0e fe 2f 27 01 02 00`` as 0x2904: format s16, exponent -2, unit 0x272F (degC),
SIG namespace, description 2: the second probe.

Source: Bluetooth assigned numbers; GATT definitions of these attributes; the Environmental
Sensing service. Padding of strings by NUL or blanks: from memory.
"""

from __future__ import annotations

import struct
from typing import NamedTuple

from pitlogger.devices.transports.ble.facts import current_time, date_time, text
from pitlogger.errors import ShortFrameError, UnknownFrameError

__all__ = ["current_time", "date_time", "text"]  # with those below, all attributes in one place

UNITS = {0x2702: "kg", 0x272F: "Cel", 0x27AC: "degF", 0x27AD: "%", 0x27B8: "lb"}
MAIN = 0x0106  # description "main"; 1..255 count probes
_WEIGHT_STEP_KG = (None, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005)
_FORMAT = struct.Struct("<BbHBH")


class PresentationFormat(NamedTuple):
    """Descriptor 0x2904; ``unit`` is empty where the code is none of ours."""

    format: int
    exponent: int
    unit_code: int
    namespace: int
    description: int

    @property
    def unit(self) -> str:
        """Unit as measurements name it."""
        return UNITS.get(self.unit_code, "")

    @property
    def ordinal(self) -> int | None:
        """Which of several probes, from 1; ``None`` where the descriptor does not count."""
        is_ordinal = self.namespace == 1 and 1 <= self.description <= 255
        return self.description if is_ordinal else None


class EsMeasurement(NamedTuple):
    """Descriptor 0x290C; ``uncertainty_pct`` is ``None`` where not given (0xFF)."""

    sampling_function: int
    period_s: int
    interval_s: int
    application: int
    uncertainty_pct: float | None


class EsTrigger(NamedTuple):
    """Descriptor 0x290D: when a notification is sent."""

    condition: int
    seconds: int | None
    operand: bytes

    @property
    def is_silent_when_steady(self) -> bool:
        """Whether a steady value sends nothing, so that a poll must tell calm from dead."""
        return self.condition >= 3


class WeightScaleFeature(NamedTuple):
    """Characteristic 0x2A9E; ``step_kg`` is ``None`` where unspecified or reserved."""

    has_time: bool
    has_users: bool
    has_bmi: bool
    step_kg: float | None


def presentation_format(octets: bytes) -> PresentationFormat:
    """Return a Presentation Format (0x2904)."""
    _need(octets, 7, "Presentation Format")
    return PresentationFormat(*_FORMAT.unpack_from(octets))


def es_measurement(octets: bytes) -> EsMeasurement:
    """Return an ES Measurement (0x290C)."""
    _need(octets, 11, "ES Measurement")
    uncertainty = octets[10]
    return EsMeasurement(
        sampling_function=octets[2],
        period_s=int.from_bytes(octets[3:6], "little"),
        interval_s=int.from_bytes(octets[6:9], "little"),
        application=octets[9],
        uncertainty_pct=None if uncertainty == 0xFF else uncertainty / 2,
    )


def es_trigger(octets: bytes) -> EsTrigger:
    """Return an ES Trigger Setting (0x290D).

    Raises:
        UnknownFrameError: A condition above 9.
    """
    _need(octets, 1, "ES Trigger Setting")
    condition = octets[0]
    if condition > 9:
        raise UnknownFrameError(f"ES trigger condition {condition}: expected 0 to 9")
    if condition in (1, 2):
        _need(octets, 4, "ES Trigger Setting with seconds")
        return EsTrigger(condition, int.from_bytes(octets[1:4], "little"), b"")
    if condition > 3 and len(octets) < 2:
        raise ShortFrameError(f"ES trigger condition {condition} has no operand")
    return EsTrigger(condition, None, octets[1:])


def es_any_trigger(octets: bytes) -> bool:
    """Return whether one trigger suffices (0x290B): else all must hold."""
    _need(octets, 1, "ES Configuration")
    if octets[0] > 1:
        raise UnknownFrameError(f"ES Configuration {octets[0]}: expected 0 (all) or 1 (any)")
    return octets[0] == 1


def weight_scale_feature(octets: bytes) -> WeightScaleFeature:
    """Return a Weight Scale Feature (0x2A9E)."""
    _need(octets, 4, "Weight Scale Feature")
    word = int.from_bytes(octets[:4], "little")
    step = word >> 3 & 0xF
    return WeightScaleFeature(
        has_time=bool(word & 1),
        has_users=bool(word & 2),
        has_bmi=bool(word & 4),
        step_kg=_WEIGHT_STEP_KG[step] if step < len(_WEIGHT_STEP_KG) else None,
    )


def measurement_interval_s(octets: bytes) -> int:
    """Return a Measurement Interval (0x2A21) in seconds; 0 means none is kept."""
    _need(octets, 2, "Measurement Interval")
    return int.from_bytes(octets[:2], "little")


def _need(octets: bytes, count: int, name: str) -> None:
    if len(octets) < count:
        raise ShortFrameError(
            f"{name} of {len(octets)} bytes ({octets.hex() or 'none'}): expected {count}"
        )
