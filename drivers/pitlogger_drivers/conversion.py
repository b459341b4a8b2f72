"""Raw inputs, millivolts or ohms, that a line or frame brings, turned into temperatures.

A person writes what they would give the decoder of the sensor, with ``*`` for the value that
was sent and ``@CHANNEL`` for the latest value of another channel in degC:

    thermistor R=*,R25=100k,beta=3950
    thermistor adc=*,full=1023,Rs=10k,R25=100k,beta=3950
    type-k mV=*,cj=@terminals

Example: a board prints ``5739.89``; with the first of these it is 107.0 degC.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated

from pydantic import AfterValidator

from pitlogger.devices.contract import Chunk, Decoder, Measurement, milli_units
from pitlogger.devices.framing import Outcome, StreamDecoder
from pitlogger.errors import DecodeError, OutOfRangeError, unknown
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.thermistor.decode import decode as thermistor
from pitlogger_drivers.type_k.decode import decode as type_k

_KINDS: dict[str, Callable[[bytes], Sequence[Measurement]]] = {
    "thermistor": thermistor,
    "type-k": type_k,
}
# Ours: 0.1 mV is 2.5 degC between tip and terminals of a type K; asked anew now and then.
_TINY_MV = 0.1
_QUESTIONED_AFTER, _QUESTIONED_EVERY = 5, 500
_FORM = re.compile(r"(\S+)\s+(.*\*.*)")
_OTHER = re.compile(r"@([^\s,]+)")


def _is_conversion(text: str) -> str:
    """Return the text if its sensor's decoder takes it."""
    match = _FORM.fullmatch(text)
    if match is None or text.count("*") != 1:
        raise ValueError(
            f"'{text}' is no conversion: write the sensor and its constants with * for the value, "
            "as in 'thermistor R=*,R25=100k,beta=3950' or 'type-k mV=*,cj=25'"
        )
    if match[1] not in _KINDS:
        raise ValueError(unknown("sensor", match[1], _KINDS))
    try:
        _KINDS[match[1]](_OTHER.sub("25", match[2]).replace("*", "1").encode())
    except OutOfRangeError:
        pass  # the constants are understood; the value above was only a stand-in
    except DecodeError as fault:
        raise ValueError(str(fault)) from None
    return text


Conversion = Annotated[str, AfterValidator(_is_conversion)]


class ConvertingDecoder:
    """Turn the values of some channels of a decoder into temperatures.

    Args:
        inner: Gives the raw values.
        conversions: A conversion for each channel that is raw.
    """

    def __init__(self, inner: Decoder, conversions: Mapping[str, Conversion]) -> None:
        self._inner = inner
        self._conversions = conversions
        self._latest_c: dict[str, Measurement] = {}
        self._tiny: Counter[str] = Counter()  # voltages in a row too small for a hot probe

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return the inner decoder's measurements, the raw ones as temperatures."""
        return self._convert(self._inner.feed(chunk))

    def finish(self) -> list[Outcome]:
        """Return what the inner decoder says of input that was never completed."""
        inner = self._inner
        return self._convert(inner.finish()) if isinstance(inner, StreamDecoder) else []

    def _convert(self, outcomes: Iterable[Outcome]) -> list[Outcome]:
        found = list(outcomes)
        for outcome in found:
            if isinstance(outcome, Measurement) and outcome.channel not in self._conversions:
                self._latest_c[outcome.channel] = outcome
        converted: list[Outcome] = []
        for outcome in found:
            converted.append(self._converted(outcome))
            converted += self._questioned(outcome)
        return converted

    def _questioned(self, raw: Outcome) -> list[Outcome]:
        """Question a voltage that stays as small as one given in volts, where mV are expected."""
        if not isinstance(raw, Measurement) or raw.value is None:
            return []
        if "mV=*" not in self._conversions.get(raw.channel, ""):
            return []
        self._tiny[raw.channel] = self._tiny[raw.channel] + 1 if abs(raw.value) < _TINY_MV else 0
        if self._tiny[raw.channel] % _QUESTIONED_EVERY != _QUESTIONED_AFTER:
            return []
        return [
            OutOfRangeError(
                f"{raw.channel}: {raw.value:g} mV would be a probe as warm as its terminals; "
                "a board that sends volts is read wrong",
                remedy="If the probe is hot, write V=* in place of mV=* in its conversion",
            )
        ]

    def _converted(self, outcome: Outcome) -> Outcome:
        if isinstance(outcome, DecodeError) or outcome.channel not in self._conversions:
            return outcome
        raw = outcome._replace(quantity=Quantity.TEMPERATURE, unit="Cel")
        if outcome.value is None:
            return raw
        text = self._conversions[outcome.channel].replace("*", f"{outcome.value:.12g}")
        for name in _OTHER.findall(text):
            other = self._latest_c.get(name)
            if other is None or other.value is None:
                quality = Quality.NO_VALUE if other is None else other.quality
                return raw._replace(value=None, quality=quality)
            text = text.replace(f"@{name}", f"{milli_units(other.value, other.unit) / 1000:g}")
        kind, _, numbers = text.partition(" ")
        try:
            (result,) = _KINDS[kind](numbers.strip().encode())
        except DecodeError as error:
            return type(error)(f"{outcome.channel}: {error}", remedy=error.remedy)
        return raw._replace(value=result.value, quality=result.quality)
