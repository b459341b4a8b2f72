"""Text of a hardware-monitoring chip in ``/sys/class/hwmon``.

    tempN_input  millidegrees
    tempN_fault  1 = do not trust the number
    tempN_label  a name

Either the content of one ``temp1_input`` file, or words ``name=value``:
``temp1_input=107500 temp1_fault=0 temp2_input=65200``.

Example: ``31 30 37 35 30 30 0a`` is ``107500`` LF = 107.5 degC.

A channel that is switched off cannot be read (ENODATA): ``temp1_input=<ENODATA>`` has no
value. Some thermistor chips give millivolts here instead of degrees: use the thermistor
decoder for those.

Source: Linux kernel documentation, hwmon sysfs interface.
"""

from __future__ import annotations

import re

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder, Outcome
from pitlogger.errors import MalformedError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.attributes import decimal, file_text, pairs, read_error, switch
from pitlogger_drivers.bounds import measured

_FILE = re.compile(r"temp(\d{1,3})_(?:input|fault)")
_TEMPERATURE = Quantity.TEMPERATURE


def decode(data: bytes) -> tuple[Outcome, ...]:
    """Return the temperatures of one chip in ``Cel``.

    Raises:
        ShortFrameError: An empty read.
        MalformedError: A text without a temperature.
    """
    text = file_text(data)
    if "=" not in text:
        return (_value("temperature", text, "temp1_input"),)
    files = pairs(text)
    numbers = sorted({int(match[1]) for match in map(_FILE.fullmatch, files) if match})
    if not numbers:
        raise MalformedError(f"no temperature among {', '.join(files)}: expected temp1_input")
    return tuple(_channel(files, number) for number in numbers)


def _channel(files: dict[str, str], number: int) -> Outcome:
    channel = "temperature" if number == 1 else f"temperature-{number}"
    if switch(files, f"temp{number}_fault"):
        return Measurement(channel, _TEMPERATURE, None, "Cel", Quality.FAULT)
    name = f"temp{number}_input"
    if name not in files:
        raise MalformedError(f"temp{number}_fault has no {name} beside it")
    return _value(channel, files[name], name)


def _value(channel: str, text: str, name: str) -> Outcome:
    failed = read_error(text)
    if failed is not None:
        return Measurement(channel, _TEMPERATURE, None, "Cel", failed)
    return measured(channel, _TEMPERATURE, decimal(text, name) / 1000, "Cel")


DECODER = DecoderInfo(
    name="hwmon",
    summary="Kernel hardware-monitoring sensor: tempN_input files",
    example=r"--text '107500\n'",
    build=lambda _: FrameDecoder(decode),
)
