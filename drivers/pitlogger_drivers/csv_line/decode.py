"""Lines of separated values, as micro-controllers print them.

    # text              comment (also //), passed over
    ms,pit_c,bench_g    header: names and units of the columns; seen again in mid-stream it
                        means that the board restarted
    120000,107.4,4530   values; nan, ---- or an empty field is "no value"
    107,4;65,2          with ; or a tab between, a comma is a decimal comma
    $107.4,65.2*1F      checksum: XOR of the bytes between $ and *, two hex digits
    {"t":[107.4,65.2]}  one JSON object a line

Example: ``31 30 37 2e 34 2c 36 35 2e 32 0a`` is ``107.4,65.2`` LF: two columns without a name
or unit, ``column-1`` 107.4 and ``column-2`` 65.2.

``-127`` of a temperature is a 1-Wire sensor that is not there, ``85`` as its first value after a
start one that has not converted yet: both are no value.

Rules: a unit comes from the header or from a map (``ms,pit:Cel,bench:kg``) and is never
guessed. A clock column is passed over: time is the host's. Where nothing names the columns, a
whole number in front of values with decimals is taken for the clock. Where the columns are
known, a line with more or fewer is refused: it was cut or two ran together.

Source: customary, from memory; the checksum is that of NMEA 0183 sentences.
"""

from __future__ import annotations

import json
import re
from decimal import Decimal
from functools import reduce
from operator import xor

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import LineDecoder, Outcome
from pitlogger.errors import ChecksumError, MalformedError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.bounds import measured
from pitlogger_drivers.columns import ChannelColumn, named, parse_map
from pitlogger_drivers.text import NUMBER, ascii_line, no_value

_VALUE = re.compile(rf"[+-]?{NUMBER}")
_WHOLE = re.compile(r"\d+")
_NAME = re.compile(r'"?[A-Za-z][A-Za-z0-9_ ./%()\[\]-]*"?')
_CHECKED = re.compile(r"\$?(.*)\*([0-9A-Fa-f]{2})", re.DOTALL)
_WORDS = {
    **dict.fromkeys(("err", "error", "fault"), Quality.FAULT),
    "": Quality.NO_VALUE,
    "open": Quality.OPEN,
}
# Boards print what is no number into JSON, which has no word for it.
_BARE_WORD = re.compile(r"(?<=[:\[,])\s*[+-]?(?:nan|inf(?:inity)?)(?=\s*[,\]}])", re.IGNORECASE)

# What libraries for 1-Wire sensors return for one that is not there, and the sensor's power-on
# value (data sheet); the former from memory.
_ABSENT = {"Cel": -127.0, "": -127.0, "degF": -196.6}
_POWER_ON = {"Cel": 85.0, "": 85.0, "degF": 185.0}

Columns = tuple[ChannelColumn | None, ...]


class CsvParser:
    """Read lines of one device; a header names the columns of the lines after it.

    Args:
        columns: Columns a person gave; headers are then passed over.
    """

    __slots__ = ("_columns", "_is_fixed", "_spoke")

    def __init__(self, columns: Columns | None = None) -> None:
        self._columns = columns
        self._spoke: set[str] = set()  # channels that gave a value since the board started
        self._is_fixed = columns is not None

    def parse(self, line: bytes) -> tuple[Outcome, ...]:
        """Return the measurements of one line.

        Raises:
            ChecksumError: The check digits do not match.
            MalformedError: Neither comment, header, values nor JSON.
        """
        text = _checked(ascii_line(line).strip())
        if text.startswith(("#", "//")):
            return ()
        if text.startswith("{"):
            return tuple(self._one_wire(outcome) for outcome in _from_json(text))
        fields = _split(text)
        if _is_header(fields):
            self._spoke.clear()  # a header in mid-stream: the board restarted
            if not self._is_fixed:
                self._columns = tuple(named(field) for field in fields)
            return ()
        columns = self._columns or _unnamed(fields)
        if len(fields) != len(columns):
            raise MalformedError(
                f"'{text}' has {len(fields)} columns: expected {len(columns)}; "
                "the line was cut, or two ran together"
            )
        return tuple(
            self._one_wire(_field(column, field))
            for column, field in zip(columns, fields, strict=True)
            if column is not None
        )

    def _one_wire(self, outcome: Outcome) -> Outcome:
        """Take the numbers a board prints for a 1-Wire sensor that gave none for what they are.

        -127 degC stands for a sensor that is not there. 85 degC is what one holds before it has
        converted: as the first value after a start it is none, later it is one like any.
        """
        if not isinstance(outcome, Measurement) or outcome.quantity is not Quantity.TEMPERATURE:
            return outcome
        is_first = outcome.channel not in self._spoke
        self._spoke.add(outcome.channel)
        if outcome.value == _ABSENT.get(outcome.unit):
            return outcome._replace(value=None, quality=Quality.OPEN)
        if is_first and outcome.value == _POWER_ON.get(outcome.unit):
            return outcome._replace(value=None, quality=Quality.NO_VALUE)
        return outcome


def _checked(text: str) -> str:
    """Return the text without its checksum."""
    match = _CHECKED.fullmatch(text)
    if match is None:
        return text
    expected = reduce(xor, match[1].encode("ascii"), 0)
    if int(match[2], 16) != expected:
        raise ChecksumError(f"'{text}' ends in *{match[2]}: its bytes give *{expected:02X}")
    return match[1]


def _split(text: str) -> list[str]:
    """Return the fields, with a point for the decimal mark."""
    for separator in (";", "\t"):
        if separator in text:
            return [field.strip().replace(",", ".") for field in text.split(separator)]
    return [field.strip() for field in text.split(",")]


def _is_header(fields: list[str]) -> bool:
    if any(_reason(field) is not None or not _NAME.fullmatch(field) for field in fields):
        return False
    if len(fields) > 1:
        return True
    # One word alone is a header only if it tells a unit: boards print words when they start.
    column = named(fields[0])
    return column is not None and bool(column.unit)


def _unnamed(fields: list[str]) -> Columns:
    """Return columns by position; a whole number before values with decimals is the clock."""
    has_clock = (
        len(fields) > 1
        and _WHOLE.fullmatch(fields[0]) is not None
        and any("." in field for field in fields[1:])
    )
    return tuple(
        None
        if has_clock and at == 0
        else ChannelColumn(f"column-{at + 1}", Quantity.TEMPERATURE, "")
        for at in range(len(fields))
    )


def _reason(field: str) -> Quality | None:
    """Return why a field has no value; ``None`` where it should be a number."""
    return _WORDS.get(field.casefold()) or no_value(field)


def _field(column: ChannelColumn, field: str) -> Outcome:
    reason = _reason(field)
    if reason is not None:
        return Measurement(column.channel, column.quantity, None, column.unit, reason)
    if not _VALUE.fullmatch(field):
        raise MalformedError(f"'{field}' in column '{column.channel}' is no number")
    return measured(column.channel, column.quantity, Decimal(field), column.unit)


def _from_json(text: str) -> tuple[Outcome, ...]:
    try:
        document = json.loads(_BARE_WORD.sub("null", text), parse_float=Decimal, parse_int=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as error:
        raise MalformedError(f"'{text}' is no JSON object: {error}") from None
    outcomes: list[Outcome] = []
    for name, value in document.items():
        column = named(name)
        if column is None:
            continue
        if isinstance(value, list):
            outcomes += [
                _json_value(column._replace(channel=f"{column.channel}-{at}"), entry)
                for at, entry in enumerate(value, start=1)
            ]
        else:
            outcomes.append(_json_value(column, value))
    return tuple(outcomes)


def _json_value(column: ChannelColumn, value: object) -> Outcome:
    if value is None:
        return Measurement(column.channel, column.quantity, None, column.unit, Quality.NO_VALUE)
    if isinstance(value, Decimal):
        return measured(column.channel, column.quantity, value, column.unit)
    if isinstance(value, str) and _reason(value) is not None:
        return _field(column, value)
    raise MalformedError(f"'{column.channel}' holds {value!r}: expected a number, null or a list")


def _build(options: DecodeOptions) -> LineDecoder:
    return LineDecoder(CsvParser(parse_map(options.map)).parse)


DECODER = DecoderInfo(
    name="csv-line",
    summary="Micro-controller that prints separated values or JSON, one line a reading",
    example=r"--text 'ms,pit_c,bench_g\n120000,107.4,4530\n'",
    build=_build,
    options=("map",),
)
