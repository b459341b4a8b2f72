"""Lines of text from serial scales: the header family and the bare-number family.

A line ends with CR, LF, both, or ETX (after STX).

    header       ST|US|OL|UL|QT [, GS|NT|TR [, sign, blanks, digits, [,] unit]]
                 ST stable, US moving, OL overload, UL underload, QT counting;
                 GS gross, NT net, TR tare
    bare number  [label : | G | N | T] [sign] blanks digits [unit] [? | G | N | T | M ...]
                 ? or M moving; G gross, N net, T tare; dashes or nan for "no value"

Example: ``53 54 2c 47 53 2c 2b 20 20 31 2e 32 33 34 6b 67 0d 0a`` is
``ST,GS,+  1.234kg`` CR LF: stable, gross, 1.234 kg.

    error        Err, Err 4, E4, ERROR 12: the scale's own

Pounds with ounces, ``13 lb 7.0 oz`` or ``13lb 7.0oz``, become ounces.

Rules: the status is read first, since an overload line may hold digits that mean nothing. A
missing unit stays empty and comes from the configuration. Steadiness not told is unknown, not
steady. A comma between digits is a decimal comma. Counting mode is refused. A bare line in kg
or lb that starts with a digit and has no decimals is refused as the tail of a longer one:
``34kg`` is what is left of ``1.234kg``, and a scale of that step has no use here.

Source: customary among serial scales, from memory; no standard covers these two families.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import LineDecoder, Outcome
from pitlogger.errors import DeviceRefusalError, MalformedError, UnknownFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.text import NO_NUMBER, ascii_line, mass_unit, no_value, number

_DIGITS = r"\d{1,12}(?:[.,]\d{1,9})?"
_HEADER = re.compile(r"\s*(ST|US|OL|UL|QT)\s*(?:,\s*(GS|NT|TR|G|N|T)\s*)?(?:,(.*))?", re.DOTALL)
_AMOUNT = re.compile(rf"\s*([+-]?)\s*({_DIGITS})\s*,?\s*([A-Za-z]*)\s*")
_LABEL = r"(?:\s*([A-Za-z][A-Za-z .]{0,15}[:=]|GROSS|NET|TARE|[GNT]))?"
_FLAGS = r"((?:\s*(?:\?|\b[GNTM]\b))*)\s*"
_BARE = re.compile(rf"{_LABEL}(\s*)([+-]?)\s*({_DIGITS})\s*([A-Za-z]{{2,3}}|g)?{_FLAGS}")
_EMPTY = re.compile(rf"{_LABEL}\s*[+-]?\s*({NO_NUMBER})\s*,?\s*([A-Za-z]{{2,3}}|g)?{_FLAGS}")
_POUNDS_OUNCES = re.compile(
    r"(?<![\d.,])(\d{1,4})\s*lbs?\s*((?:1[0-5]|0?\d)(?:[.,]\d{1,4})?)\s*oz\b", re.IGNORECASE
)
_LONE_STATUS = re.compile(r"\s*-?(OL|OVER|UL|UNDER)-?\s*", re.IGNORECASE)
_ERROR = re.compile(
    r"\s*[-*]{0,3}\s*E(?:RR(?:OR)?)?[ .:_-]*(\d{1,4})?\s*[-*]{0,3}\s*", re.IGNORECASE
)
_LOAD = {"O": Quality.OVERLOAD, "U": Quality.UNDERLOAD}
_MASS = Quantity.MASS


def parse(line: bytes) -> tuple[Outcome, ...]:
    """Return what ``decode`` returns and, beside it, an error that the scale itself reports."""
    found = decode(line)
    error = _ERROR.fullmatch(line.decode("ascii", errors="replace"))
    return found if error is None else (*found, _own_error(error[1], error[0]))


def decode(line: bytes) -> tuple[Measurement, ...]:
    """Return the mass of one line; a tare shown by the scale has the channel ``tare``.

    A scale that shows an error of its own has no value.

    Raises:
        MalformedError: No line of either family.
        UnknownFrameError: An unknown unit, or counting mode.
    """
    text = _POUNDS_OUNCES.sub(_in_ounces, ascii_line(line))
    header = _HEADER.fullmatch(text)
    if header is not None:
        return (_with_header(header[1], header[2] or "", header[3], text),)
    lone = _LONE_STATUS.fullmatch(text)
    if lone is not None:
        return (_no_value("", _LOAD[lone[1][0].upper()]),)
    if _ERROR.fullmatch(text):
        return (_no_value("", Quality.FAULT),)
    empty = _empty(text)
    if empty is not None:
        return (empty,)
    return (_bare(text),)


def _own_error(number: str | None, text: str) -> DeviceRefusalError:
    which = f"error {number}" if number else "an error"
    return DeviceRefusalError(
        f"the scale reports {which} ('{text.strip()}')",
        remedy="Look the number up in its manual; take the load off and switch it on again",
    )


def _in_ounces(match: re.Match[str]) -> str:
    ounces = Decimal(match[2].replace(",", "."))
    return f"{int(match[1]) * 16 + ounces} oz"


def _with_header(status: str, mode: str, rest: str | None, text: str) -> Measurement:
    if status in ("OL", "UL"):
        return _no_value(_trailing_unit(rest), _LOAD[status[0]])
    if status == "QT":
        raise UnknownFrameError(
            f"'{text.strip()}': the scale is in counting mode: switch it to weighing"
        )
    is_stable = status == "ST"
    empty = _empty(rest or "")
    if empty is not None:
        return empty._replace(stable=is_stable)
    amount = _AMOUNT.fullmatch(rest or "")
    if amount is None:
        raise MalformedError(
            f"'{text.strip()}': expected sign, digits and unit after the status, as in "
            "'ST,GS,+  1.234kg'"
        )
    sign, digits, unit = amount.groups()
    return _mass(_channel(mode), sign, digits, mass_unit(unit), is_stable)


def _empty(text: str) -> Measurement | None:
    """Return the measurement of dashes, ``nan`` and the like in place of digits."""
    match = _EMPTY.fullmatch(text)
    quality = no_value(match[2]) if match else None
    if match is None or quality is None:
        return None
    return _no_value(mass_unit(match[3] or ""), quality)


def _bare(text: str) -> Measurement:
    match = _BARE.fullmatch(text)
    if match is None:
        raise MalformedError(
            f"'{text.strip()}' is no line of a scale: expected one such as '1.234 kg' or "
            "'ST,GS,+  1.234kg'"
        )
    label, blanks, sign, digits, word, flags = match.groups()
    unit = mass_unit(word or "")
    if not (label or blanks or sign) and digits.isdigit() and unit in ("kg", "lb"):
        raise MalformedError(
            f"'{text.strip()}' looks like the tail of a longer line: a scale in {unit} sends "
            "decimals"
        )
    if not unit and "G" in flags:
        raise MalformedError(
            f"'{text.strip()}': G can mean gram or gross: let the scale send its unit"
        )
    is_moving = "?" in flags or "M" in flags
    mode = next((letter for letter in flags if letter in "GNT"), (label or "").strip(" :="))
    return _mass(_channel(mode), sign, digits, unit, False if is_moving else None)


def _mass(channel: str, sign: str, digits: str, unit: str, stable: bool | None) -> Measurement:
    value = number(sign, digits.replace(",", "."))
    return Measurement(channel, _MASS, value, unit, Quality.GOOD, stable)


def _no_value(unit: str, quality: Quality) -> Measurement:
    return Measurement("mass", _MASS, None, unit, quality)


def _channel(mode: str) -> str:
    return "tare" if mode.upper() in ("T", "TR", "TARE") else "mass"


def _trailing_unit(rest: str | None) -> str:
    """Return the unit at the end of an overload line, where it is one; the digits mean nothing."""
    match = re.search(r"(kg|mg|g|lb|oz)\s*$", rest or "", re.IGNORECASE)
    return match[1].lower() if match else ""


DECODER = DecoderInfo(
    name="serial-scale",
    summary="Serial scale that sends lines such as 'ST,GS,+  1.234kg' or '1.234 kg'",
    example=r"--text 'ST,GS,+  1.234kg\r\n'",
    build=lambda _: LineDecoder(parse, refuse_blank=True),
)
