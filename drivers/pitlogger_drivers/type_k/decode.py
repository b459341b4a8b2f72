"""Type K thermocouple given as a voltage: ``mV=4.096,cj=25``.

    mV, uV, V  voltage between the leads as measured, millivolt, microvolt or volt
    cj      temperature of the cold junction (the terminals), degC; 0 for an ice point

Example: ``6d 56 3d 34 2e 30 39 36 2c 63 6a 3d 32 35`` is ``mV=4.096,cj=25``: E(25) = 1.000 mV
is added, and 5.096 mV is 124.310 degC.

The *voltage* of the cold junction is added, then inverted: adding temperatures is wrong by
0.8 degC at 107 degC with the terminals at 25. Reversed leads show as a reading that falls when
the probe is heated (from memory); a single reading cannot tell. The result is rounded to
0.001 degC.

Source: NIST ITS-90 thermocouple database, type K.
"""

from __future__ import annotations

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import MalformedError, OutOfRangeError
from pitlogger.model.quantities import Quantity
from pitlogger_drivers import named_numbers
from pitlogger_drivers.type_k.its90 import (
    HIGH_C,
    HIGHEST_MV,
    LOW_C,
    LOWEST_MV,
    temperature_c,
)
from pitlogger_drivers.type_k.its90 import (
    voltage_mv as _voltage_mv,
)

_NAMES = {"mv": "mV", "uv": "uV", "v": "V", "cj": "cj"}
_MV_OF = {"mV": 1.0, "uV": 0.001, "V": 1000.0}


def decode(text: bytes) -> tuple[Measurement, ...]:
    """Return the temperature of the hot junction in ``Cel``.

    Raises:
        MalformedError: A missing voltage or cold junction, or text that is none.
        OutOfRangeError: Outside what a type K thermocouple can give.
    """
    given = named_numbers.parse(text, _NAMES)
    if "cj" not in given:
        raise MalformedError(
            "no cold junction: give the temperature of the terminals, as in cj=25, or cj=0 for an "
            "ice point"
        )
    units = [unit for unit in _MV_OF if unit in given]
    if len(units) != 1:
        raise MalformedError("expected one voltage, as in mV=4.096, uV=4096 or V=0.004096")
    voltage_mv = given[units[0]] * _MV_OF[units[0]]
    value = round(hot_junction_c(voltage_mv, given["cj"]), 3) + 0.0
    return (Measurement("temperature", Quantity.TEMPERATURE, value, "Cel"),)


def hot_junction_c(measured_mv: float, cold_junction_c: float) -> float:
    """Return the temperature of the hot junction, degC.

    Raises:
        OutOfRangeError: Outside what a type K thermocouple can give.
    """
    if not LOW_C <= cold_junction_c <= HIGH_C:
        raise OutOfRangeError(f"cold junction of {cold_junction_c:g} Cel: expected -270 to 1372")
    total_mv = measured_mv + _voltage_mv(cold_junction_c)
    if not LOWEST_MV <= total_mv <= HIGHEST_MV:
        raise OutOfRangeError(
            f"{total_mv:.3f} mV with the cold junction added: a type K thermocouple gives "
            f"{LOWEST_MV:.3f} to {HIGHEST_MV:.3f}; an open probe or another type"
        )
    return temperature_c(total_mv)


DECODER = DecoderInfo(
    name="type-k",
    summary="Type K thermocouple as a voltage with its cold junction",
    example="--text 'mV=4.096,cj=25'",
    build=lambda _: FrameDecoder(decode),
)
