"""Data report of a USB HID scale (usage page 0x8D), six bytes.

    offset  type  field
    0       u8    report id, 3 = data
    1       u8    status: 1 fault, 2 stable at zero, 3 moving, 4 stable, 5 under zero,
                  6 over limit, 7 needs calibration, 8 needs re-zero
    2       u8    unit: 1 mg, 2 g, 3 kg, 4 carat, 5 tael, 6 grain, 7 pennyweight, 8 metric ton,
                  9 avoirdupois ton, 10 troy ounce, 11 ounce, 12 pound
    3       s8    power of ten
    4       u16   weight, little-endian: value = weight * 10^power

Example: ``03 04 0b ff 34 19``: stable, ounces, power -1, 0x1934 = 6452, so 645.2 oz.

Only status 2 to 5 carry a value; with 5 the weight is a magnitude and the sign is minus.
Units that pitlogger does not name are turned into grams or kilograms (ton: pounds) by their
exact factors; tael is refused, since its mass differs from place to place.

Source: USB-IF HID usage tables, page 0x8D; NIST Special Publication 811, appendix B, for the
factors. Report id 3, the minus sign of status 5, and 2000 lb for the avoirdupois ton: from
memory.
"""

from __future__ import annotations

import struct

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import OutOfRangeError, ShortFrameError, UnknownFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

_unpack = struct.Struct("<BBBbH").unpack_from
_DATA = 3
_UNDER_ZERO = 5
# Unit shown, and numerator and denominator that lead to it.
_UNIT: dict[int, tuple[str, int, int]] = {
    1: ("mg", 1, 1),
    2: ("g", 1, 1),
    3: ("kg", 1, 1),
    4: ("g", 2, 10),  # metric carat
    6: ("mg", 6479891, 100_000),  # grain
    7: ("g", 155517384, 100_000_000),  # pennyweight
    8: ("kg", 1000, 1),
    9: ("lb", 2000, 1),
    10: ("g", 311034768, 10_000_000),  # troy ounce
    11: ("oz", 1, 1),
    12: ("lb", 1, 1),
}
_STABLE = {2: True, 3: False, 4: True, _UNDER_ZERO: False}
_NO_VALUE = {1: Quality.FAULT, 6: Quality.OVERLOAD, 7: Quality.FAULT, 8: Quality.FAULT}
_HIGHEST = 1e9  # ours: far above any scale, and still exact in milligrams
_MASS = Quantity.MASS


def decode(report: bytes) -> tuple[Measurement, ...]:
    """Return the mass of a data report, with the scale's own word on steadiness.

    Raises:
        ShortFrameError: Fewer than six bytes.
        UnknownFrameError: Another report, status or unit.
        OutOfRangeError: A number no scale can mean.
    """
    if len(report) < 6:
        raise ShortFrameError(
            f"HID scale report of {len(report)} bytes ({report.hex() or 'none'}): expected 6"
        )
    kind, status, unit_code, power, raw = _unpack(report)
    if kind != _DATA:
        raise UnknownFrameError(f"HID report {kind} ({report.hex()}): expected data report 3")
    if status not in _STABLE and status not in _NO_VALUE:
        raise UnknownFrameError(f"HID scale status {status} ({report.hex()}): expected 1 to 8")
    if status in _NO_VALUE:
        unit = _UNIT[unit_code][0] if unit_code in _UNIT else ""
        return (Measurement("mass", _MASS, None, unit, _NO_VALUE[status], False),)
    if unit_code not in _UNIT:
        raise _unknown_unit(unit_code)
    unit, numerator, denominator = _UNIT[unit_code]
    # One division of two integers, so that 12345 at power -1 prints as 1234.5.
    numerator *= raw * 10 ** max(power, 0)
    value = numerator / (denominator * 10 ** max(-power, 0))
    if value > _HIGHEST:
        raise OutOfRangeError(f"{value:g} {unit} ({report.hex()}): expected at most {_HIGHEST:g}")
    if status == _UNDER_ZERO and raw:
        value = -value
    return (Measurement("mass", _MASS, value, unit, Quality.GOOD, _STABLE[status]),)


def _unknown_unit(code: int) -> UnknownFrameError:
    if code == 5:
        return UnknownFrameError(
            "the scale shows taels, whose mass differs from place to place: "
            "switch it to g, kg, oz or lb"
        )
    return UnknownFrameError(f"HID scale unit {code}: expected 1 to 12; switch it to g, kg, oz, lb")


DECODER = DecoderInfo(
    name="hid-scale",
    summary="USB HID scale, data report of usage page 0x8D",
    example="--hex 030402ff3930",
    build=lambda _: FrameDecoder(decode),
)
