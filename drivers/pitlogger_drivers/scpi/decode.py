"""Answers of a SCPI thermometer: numbers, lists of numbers, identity, error queue.

    +1.07425000E+02             NR3; NR1 (107) and NR2 (107.4) are numbers too
    +1.07E+02,+9.91E+37         a list, one value a channel; ``;`` divides compound answers
    9.9E37, -9.9E37, 9.91E37    plus and minus infinity, not a number: no value, as are
                                words (NAN) and dashes
    MAKER,MODEL,SERIAL,VERSION  identity, four fields, 0 where unknown: no reading
    -113,"Undefined header"     the error queue; 0,"No error" where it is empty
    *IDN?                       a question heard as an echo: no reading

Example: ``2b 31 2e 30 37 34 32 35 30 30 30 45 2b 30 32 0a`` is ``+1.07425000E+02`` LF =
107.425 degC.

The unit is degrees Celsius, the default of SCPI's UNIT:TEMPerature, unless a map says
otherwise (``pit:degF,core:degF``).

Source: SCPI-1999 and IEEE 488.2, from memory.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import LineDecoder, Outcome
from pitlogger.errors import DeviceRefusalError, MalformedError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.bounds import measured
from pitlogger_drivers.columns import ChannelColumn, parse_map
from pitlogger_drivers.text import ascii_line, no_value

IDENTIFY = b"*IDN?\n"
MEASURE = b"MEAS:TEMP?\n"
CLEAR = b"*CLS\n"
_NUMBER = re.compile(r"[+-]?(?:\d{1,16}(?:\.\d{0,16})?|\.\d{1,16})(?:[eE][+-]?\d{1,3})?")
_ERROR = re.compile(r'([+-]?\d{1,6})\s*,\s*"([^"]*)"')
_SPECIAL = {
    Decimal("9.9E37"): Quality.OVERLOAD,
    Decimal("-9.9E37"): Quality.UNDERLOAD,
    Decimal("9.91E37"): Quality.NO_VALUE,
}


class Identity(NamedTuple):
    """The answer to ``*IDN?``; a field that is not known is ``0``."""

    maker: str
    model: str
    serial: str
    version: str


def identity(text: str) -> Identity | None:
    """Return the identity a line tells, or ``None`` where it is none."""
    fields = [field.strip() for field in text.split(",")]
    if len(fields) != 4 or all(_NUMBER.fullmatch(one) or no_value(one) for one in fields):
        return None
    return Identity(*fields)


class ScpiParser:
    """Read the answers of one instrument.

    Args:
        columns: Names and units of the values of an answer, in order.
    """

    __slots__ = ("_columns",)

    def __init__(self, columns: tuple[ChannelColumn | None, ...] | None = None) -> None:
        self._columns = columns

    def parse(self, line: bytes) -> tuple[Outcome, ...]:
        """Return the measurements of one answer; none for identity, echo and "no error".

        Raises:
            DeviceRefusalError: An entry of the error queue.
            MalformedError: Anything else.
        """
        text = ascii_line(line).strip()
        if text.endswith("?") or text.startswith("*"):
            return ()
        error = _ERROR.fullmatch(text)
        if error is not None:
            return _queue_entry(int(error[1]), error[2])
        if identity(text) is not None:
            return ()
        fields = [field.strip() for field in re.split("[,;]", text)]
        columns = self._columns or tuple(_column(at) for at in range(len(fields)))
        if len(columns) != len(fields):
            raise MalformedError(f"'{text}' has {len(fields)} values: expected {len(columns)}")
        return tuple(
            _value(column, field)
            for column, field in zip(columns, fields, strict=True)
            if column is not None
        )


def _queue_entry(code: int, message: str) -> tuple[Outcome, ...]:
    if code == 0:
        return ()
    raise DeviceRefusalError(f"the instrument reports error {code}: {message}")


def _column(at: int) -> ChannelColumn:
    return ChannelColumn(
        f"temperature-{at + 1}" if at else "temperature", Quantity.TEMPERATURE, "Cel"
    )


def _value(column: ChannelColumn, field: str) -> Outcome:
    is_number = _NUMBER.fullmatch(field)
    quality = _SPECIAL.get(Decimal(field)) if is_number else no_value(field)
    if quality is not None:
        return Measurement(column.channel, column.quantity, None, column.unit, quality)
    if not is_number:
        raise MalformedError(f"'{field}' is no number: expected one such as +1.07425000E+02")
    return measured(column.channel, column.quantity, Decimal(field), column.unit)


def _build(options: DecodeOptions) -> LineDecoder:
    return LineDecoder(ScpiParser(parse_map(options.map)).parse)


DECODER = DecoderInfo(
    name="scpi",
    summary="Laboratory thermometer that answers SCPI questions",
    example=r"--text '+1.07425000E+02\n'",
    build=_build,
    options=("map",),
)
