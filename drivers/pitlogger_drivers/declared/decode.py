"""Decoder of declared devices: it reads the frames or lines that a TOML file describes.

The types are those of ``pitlogger.devices.number_types``; an ``f32`` is read to seven
significant digits.

Example: with ``at = 1``, ``type = "i16"``, ``order = "little"``, ``scale = 0.1``, ``unit =
"Cel"`` the frame ``a5 32 04`` is 0x0432 = 1074 * 0.1 = 107.4 degC.

Source: the person who wrote the file.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

import regex

from pitlogger.devices.contract import Decoder, Measurement
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import FrameDecoder, LineDecoder, Outcome
from pitlogger.devices.number_types import raw_number
from pitlogger.errors import MalformedError, ShortFrameError, UnknownFrameError
from pitlogger.model.readings import Quality
from pitlogger_drivers.bounds import measured
from pitlogger_drivers.conversion import ConvertingDecoder
from pitlogger_drivers.declared.model import Declaration, SerialSource, Value, parse
from pitlogger_drivers.text import ascii_line, no_value

MATCH_S = 0.02
SLOW_LINES = 3
MOST_CHARACTERS = 1000
_NUMBER = re.compile(r"\s*([+-]?)\s*(\d{1,12}(?:[.,]\d{1,9})?|[.,]\d{1,9})\s*")


def decoder(declaration: Declaration) -> Decoder:
    """Return a fresh decoder of the declared device."""
    if isinstance(declaration.source, SerialSource):
        raw: Decoder = LineDecoder(LineParser(declaration, declaration.source).parse)
    else:
        raw = FrameDecoder(FrameParser(declaration).parse)
    conversions = {v.channel: v.convert for v in declaration.value if v.convert is not None}
    return ConvertingDecoder(raw, conversions) if conversions else raw


class FrameParser:
    """Read frames by offsets."""

    __slots__ = ("_declaration", "_prefix", "_size")

    def __init__(self, declaration: Declaration) -> None:
        self._declaration = declaration
        self._size = declaration.size
        self._prefix = bytes.fromhex(declaration.frame.prefix)

    def parse(self, frame: bytes) -> tuple[Outcome, ...]:
        """Return the declared values of one frame.

        Raises:
            UnknownFrameError: It does not begin with the declared bytes.
            ShortFrameError: Fewer bytes than the values need.
        """
        if not frame.startswith(self._prefix):
            raise UnknownFrameError(
                f"{frame.hex() or 'no bytes'}: expected to begin with {self._prefix.hex()}"
            )
        wanted = self._declaration.frame
        if wanted.exact and len(frame) != wanted.length:
            raise UnknownFrameError(
                f"{len(frame)} bytes ({frame.hex() or 'none'}): {self._declaration.name} has "
                f"exactly {wanted.length}"
            )
        if len(frame) < self._size:
            raise ShortFrameError(
                f"{len(frame)} bytes ({frame.hex() or 'none'}): {self._declaration.name} "
                f"needs {self._size}"
            )
        stable = self._is_stable(frame)
        return tuple(_from_bytes(frame, value, stable) for value in self._declaration.value)

    def _is_stable(self, frame: bytes) -> bool | None:
        stable = self._declaration.stable
        if stable is None or stable.at is None:
            return None
        return bool(frame[stable.at] & stable.mask)


class LineParser:
    """Read lines by the named groups of a regular expression."""

    __slots__ = ("_declaration", "_pattern", "_too_slow")

    def __init__(self, declaration: Declaration, source: SerialSource) -> None:
        self._declaration = declaration
        self._pattern = regex.compile(source.line)
        self._too_slow = 0

    def parse(self, line: bytes) -> tuple[Outcome, ...]:
        """Return the declared values of one line.

        A group that took no part gives nothing or, where an empty text is among the sentinels,
        no value.

        Raises:
            MalformedError: The line does not match.
        """
        text = ascii_line(line)
        match = self._match(text) or self._match(text.strip())
        if match is None:
            raise MalformedError(f"'{text}' does not match {self._pattern.pattern}")
        stable = self._is_stable(match)
        return tuple(
            _from_text(match[value.group] or "", value, stable)
            for value in self._declaration.value
            if value.group is not None and (match[value.group] is not None or "" in value.sentinels)
        )

    def _match(self, text: str) -> regex.Match[str] | None:
        """Match in a bounded time: an expression that backtracks must not hold up the alarms."""
        if self._too_slow >= SLOW_LINES:
            raise MalformedError(
                f"{self._pattern.pattern} took too long on {SLOW_LINES} lines and is not tried any"
                " more: write it without a repeat within a repeat"
            )
        if len(text) > MOST_CHARACTERS:
            raise MalformedError(f"a line of {len(text)} characters; at most {MOST_CHARACTERS}")
        try:
            return self._pattern.fullmatch(text, timeout=MATCH_S)
        except TimeoutError:
            self._too_slow += 1
            raise MalformedError(
                f"{self._pattern.pattern} takes longer than {MATCH_S:g} s on '{text[:40]}'"
            ) from None

    def _is_stable(self, match: regex.Match[str]) -> bool | None:
        stable = self._declaration.stable
        if stable is None or stable.group is None or match[stable.group] is None:
            return None
        return match[stable.group].strip() in stable.words


def _from_bytes(frame: bytes, value: Value, stable: bool | None) -> Outcome:
    assert value.at is not None
    assert value.type is not None
    raw = raw_number(frame[value.at : value.end], value.type, value.order)
    if raw is None and len(set(frame[value.at : value.end].hex())) == 1:  # all of one letter
        return _no_value(value, stable)
    if raw is None:
        return MalformedError(
            f"{value.channel} in {frame.hex()}: expected two decimal digits an byte"
        )
    if raw in value.sentinels or not math.isfinite(raw):
        return _no_value(value, stable)
    number = Decimal(raw) if isinstance(raw, int) else Decimal(f"{raw:.7g}")
    return _scaled(number, value, stable)


def _from_text(text: str, value: Value, stable: bool | None) -> Outcome:
    if text.strip() in value.sentinels:
        return _no_value(value, stable)
    quality = no_value(text)
    if quality is not None:
        return _no_value(value, stable, quality)
    match = _NUMBER.fullmatch(text)
    if match is None:
        return MalformedError(f"'{text}' for {value.channel} is no number")
    number = Decimal(match[1] + match[2].replace(",", "."))
    if number in value.sentinels:
        return _no_value(value, stable)
    return _scaled(number, value, stable)


def _scaled(number: Decimal, value: Value, stable: bool | None) -> Outcome:
    result = number * value.scale + value.add
    return measured(value.channel, value.quantity, result, value.unit, stable)


def _no_value(
    value: Value, stable: bool | None, quality: Quality = Quality.NO_VALUE
) -> Measurement:
    return Measurement(value.channel, value.quantity, None, value.unit, quality, stable)


def _build(options: DecodeOptions) -> Decoder:
    return decoder(parse(options.declaration))


DECODER = DecoderInfo(
    name="declared",
    summary="a device described in a TOML file: give its path in place of the name",
    example="",
    build=_build,
    options=("declaration",),
)
