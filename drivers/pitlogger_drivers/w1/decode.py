"""Text of a 1-Wire temperature sensor in ``/sys/bus/w1/devices``.

    w1_slave     91 01 4b 46 7f ff 0c 10 70 : crc=70 YES    nine bytes, CRC, verdict
                 91 01 4b 46 7f ff 0c 10 70 t=25062         the same, millidegrees
    temperature  107375                                     millidegrees

Example: ``31 30 37 33 37 35 0a`` is ``107375`` LF = 107.375 degC.

No value, with its reason: 85000 beside byte 6 = 0x0C, the state after power-on, when no
conversion took place (85.0 degC alone is a possible heat and is kept); 127937, what a sensor
without enough power says; nine bytes of zero, whose CRC is right and means nothing. Beyond
-55 to 125 degC, the range of these sensors, the value is kept and marked.

Source: Linux kernel documentation, w1_therm. The all-zero scratchpad: computed. That the
sensor after a true 85.0 degC does not show 0x0C: from memory.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.errors import ChecksumError, MalformedError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.attributes import decimal, file_text, read_error

_BYTES = r"((?:[0-9a-fA-F]{2} ){9})"
_SLAVE = re.compile(
    rf"{_BYTES}: crc=[0-9a-fA-F]{{2}} (YES|NO)\s+(?:[0-9a-fA-F]{{2}} ){{9}}t=(-?\d{{1,7}})"
)
_POWER_ON_MC, _POWER_ON_BYTE_6 = 85000, 0x0C
_STARVED_MC = 127937
_LOW_MC, _HIGH_MC = -55000, 125000


def decode(data: bytes) -> tuple[Measurement, ...]:
    """Return the temperature of a ``w1_slave`` or ``temperature`` file in ``Cel``.

    Raises:
        ShortFrameError: An empty read, as while a bulk conversion runs: read again.
        ChecksumError: The kernel says NO.
        MalformedError: Another text.
    """
    text = file_text(data)
    failed = read_error(text)
    if failed is not None:
        return _no_value(failed)
    if "crc=" in text:
        return _from_slave(text)
    return _temperature(decimal(text, "temperature"))


def _from_slave(text: str) -> tuple[Measurement, ...]:
    match = _SLAVE.fullmatch(text)
    if match is None:
        raise MalformedError(f"'{text}' is no w1_slave text: expected nine bytes, crc and t=")
    if match[2] == "NO":
        raise ChecksumError(
            f"the CRC of '{match[1].strip()}' does not match: check the lead, its length and the "
            "pull-up resistor"
        )
    scratchpad = bytes.fromhex(match[1])
    milli_c = int(match[3])
    if not any(scratchpad):
        return _no_value(Quality.FAULT)
    if milli_c == _POWER_ON_MC and scratchpad[6] == _POWER_ON_BYTE_6:
        return _no_value(Quality.NO_VALUE)
    return _temperature(Decimal(milli_c))


def _temperature(milli_c: Decimal) -> tuple[Measurement, ...]:
    if milli_c == _STARVED_MC:
        return _no_value(Quality.FAULT)
    is_in_range = _LOW_MC <= milli_c <= _HIGH_MC
    quality = Quality.GOOD if is_in_range else Quality.OUT_OF_RANGE
    value = float(milli_c / 1000)
    return (Measurement("temperature", Quantity.TEMPERATURE, value, "Cel", quality),)


def _no_value(quality: Quality) -> tuple[Measurement, ...]:
    return (Measurement("temperature", Quantity.TEMPERATURE, None, "Cel", quality),)


DECODER = DecoderInfo(
    name="w1",
    summary="Kernel 1-Wire sensor: w1_slave or temperature file",
    example=r"--text '107375\n'",
    build=lambda _: FrameDecoder(decode),
)
