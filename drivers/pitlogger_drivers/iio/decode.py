"""Text of a thermocouple amplifier in ``/sys/bus/iio/devices``, as ``name=value`` words.

    in_temp_input                     milli-degC, as it is
    in_temp_raw, _offset, _scale      milli-degC = (raw + offset) * scale
    in_temp_ambient_...               the same for the cold junction
    in_temp0_..., in_temp_object_...  the same for other channels
    fault_oc                          1 = the probe is open
    fault_ovuv                        1 = over or under voltage at the input

Example: ``in_temp_raw=430 in_temp_scale=250 fault_oc=0`` is 430 * 250 = 107500 milli-degC =
107.5 degC, the circuit closed.

A fault is a file of its own and counts for the hot junction, whatever number stands beside it;
the cold junction keeps its value. Without its scale a raw number is refused.

Source: Linux kernel documentation, sysfs-bus-iio and sysfs-bus-iio-thermocouple.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder, Outcome
from pitlogger.errors import MalformedError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.attributes import decimal, file_text, pairs, read_error, switch
from pitlogger_drivers.bounds import measured

_VALUE_FILE = re.compile(r"in_temp(\d{0,2})(?:_(ambient|object))?_(raw|input)")
_TEMPERATURE = Quantity.TEMPERATURE


def decode(data: bytes) -> tuple[Outcome, ...]:
    """Return the temperatures of one amplifier in ``Cel``.

    Raises:
        ShortFrameError: An empty read.
        MalformedError: A text without a value or fault, or a number that is none.
    """
    files = pairs(file_text(data))
    fault = _fault(files)
    outcomes = [
        _channel(files, match, fault) for match in map(_VALUE_FILE.fullmatch, files) if match
    ]
    if outcomes:
        return tuple(outcomes)
    if fault is not None:
        return (Measurement("temperature", _TEMPERATURE, None, "Cel", fault),)
    raise MalformedError(
        f"no temperature among {', '.join(files)}: expected in_temp_raw or in_temp_input"
    )


def _fault(files: dict[str, str]) -> Quality | None:
    if switch(files, "fault_oc"):
        return Quality.OPEN
    return Quality.FAULT if switch(files, "fault_ovuv") else None


def _channel(files: dict[str, str], match: re.Match[str], fault: Quality | None) -> Outcome:
    number, place, kind = match.groups()
    is_ambient = place == "ambient"
    channel = f"{'cold-junction' if is_ambient else 'temperature'}{'-' * bool(number)}{number}"
    text = files[match[0]]
    reason = read_error(text) or (None if is_ambient else fault)
    if reason is not None:
        return Measurement(channel, _TEMPERATURE, None, "Cel", reason)
    milli_c = decimal(text, match[0])
    if kind == "raw":
        milli_c = (milli_c + _shared(files, match[0], "offset")) * _shared(files, match[0], "scale")
    return measured(channel, _TEMPERATURE, milli_c / 1000, "Cel")


def _shared(files: dict[str, str], value_file: str, attribute: str) -> Decimal:
    """Return the offset or scale of a channel, from its own file or the one all channels share."""
    own = value_file.removesuffix("raw") + attribute
    for name in (own, f"in_temp_{attribute}"):
        if name in files:
            return decimal(files[name], name)
    if attribute == "offset":
        return Decimal(0)
    raise MalformedError(f"{value_file} has no {own} beside it: a raw number has no unit")


DECODER = DecoderInfo(
    name="iio",
    summary="Kernel thermocouple amplifier: industrial I/O files",
    example="--text 'in_temp_raw=430 in_temp_scale=250 fault_oc=0'",
    build=lambda _: FrameDecoder(decode),
)
