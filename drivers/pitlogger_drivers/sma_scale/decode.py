"""Weight reply of the open standard SMA SCP-0499, level 1: fixed columns between LF and CR.

    column  bytes  field
    0       1       status: blank, Z centre of zero, O over capacity, U under capacity,
                    E zero error, I initial zero error, T tare error
    1       1       range digit
    2       1       mode: G gross, N net, T tare; g, n in high resolution
    3       1       M moving, else blank
    4       1       reserved
    5       10      weight, right-justified, with sign and point; dashes where there is none
    15      3       unit, left-justified

Example: LF ``20 31 47 4d 20 20 20 20 20 20 37 2e 36 35 30 6b 67 20`` CR is
`` 1GM      7.650kg ``: range 1, gross, moving, 7.650 kg.

``LF ? CR`` means the request was not understood, ``LF ! CR`` a line error. Over capacity has
no value whatever is shown; under capacity keeps its value, which tells how far below zero.
Requests: W weight, H high resolution, P when stable, Z zero, T tare, R repeat, each between
LF and CR.

Source: SMA SCP-0499 by secondary copies; ``!`` from memory.
"""

from __future__ import annotations

import re

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import LineDecoder
from pitlogger.errors import DeviceRefusalError, MalformedError, ShortFrameError, UnknownFrameError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.text import NUMBER, ascii_line, mass_unit, no_value, number

REQUESTS = {
    "weight": b"\nW\r",
    "weight-high-resolution": b"\nH\r",
    "weight-when-stable": b"\nP\r",
    "zero": b"\nZ\r",
    "tare": b"\nT\r",
    "repeat": b"\nR\r",
}
_BYTES = 18
_WEIGHT = re.compile(rf"\s*([+-]?)\s*({NUMBER})\s*")
_NO_VALUE = {
    "O": Quality.OVERLOAD,
    "E": Quality.FAULT,
    "I": Quality.FAULT,
    "T": Quality.FAULT,
}
_WITH_VALUE = " ZU"
_ANSWERS = {
    "?": "the scale did not understand the request: it may know level 1 only",
    "!": "the scale saw a line error: check baud rate, data bits and parity",
}
_MASS = Quantity.MASS


def decode(line: bytes) -> tuple[Measurement, ...]:
    """Return the mass of one reply; in tare mode the channel is ``tare``.

    Raises:
        DeviceRefusalError: ``?`` or ``!``.
        ShortFrameError: Fewer than 18 columns.
        UnknownFrameError: An unknown status, mode or unit.
        MalformedError: Columns that do not hold what they should.
    """
    text = ascii_line(line)
    if text.strip() in _ANSWERS:
        raise DeviceRefusalError(_ANSWERS[text.strip()])
    if len(text) < _BYTES:
        raise ShortFrameError(f"'{text}' has {len(text)} columns: expected {_BYTES}")
    status, mode, motion = text[0], text[2], text[3]
    if text[_BYTES:].strip() or not text[1].isalnum() or motion not in "M ":
        raise MalformedError(f"'{text}' does not fill the columns of an SMA reply")
    if mode not in "GNTgn":
        raise UnknownFrameError(f"SMA mode '{mode}' in '{text}': expected G, N, T, g or n")
    channel = "tare" if mode == "T" else "mass"
    unit = mass_unit(text[15:18].strip())
    if status in _NO_VALUE:
        return (Measurement(channel, _MASS, None, unit, _NO_VALUE[status]),)
    if status not in _WITH_VALUE:
        raise UnknownFrameError(f"SMA status '{status}' in '{text}': expected Z, O, U, E, I, T")
    empty = no_value(text[5:15])
    if empty is not None:
        return (Measurement(channel, _MASS, None, unit, empty),)
    weight = _WEIGHT.fullmatch(text[5:15])
    if weight is None:
        raise MalformedError(f"'{text[5:15]}' in columns 5 to 14 of '{text}' is no number")
    value = number(weight[1], weight[2])
    return (Measurement(channel, _MASS, value, unit, Quality.GOOD, motion != "M"),)


DECODER = DecoderInfo(
    name="sma-scale",
    summary="Serial scale after the open standard SMA SCP-0499, level 1",
    example=r"--text '\n 1GM      7.650kg \r'",
    build=lambda _: LineDecoder(decode),
)
