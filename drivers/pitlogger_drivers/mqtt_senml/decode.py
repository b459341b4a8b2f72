"""SenML packs (RFC 8428) as bytes: each record a measurement, named as the pack names it.

    [{"bn":"smoker/","n":"pit","u":"Cel","v":107.4},{"n":"lid","u":"Cel","vs":"!open"}]

Example: ``5b7b226e223a22706974222c2275223a2243656c222c2276223a3130372e347d5d`` is
``[{"n":"pit","u":"Cel","v":107.4}]``: channel ``pit`` at 107.4 degC.

A record without a value carries its quality: ``"vs": "!open"``. Kelvin becomes degrees
Celsius. Times are passed over: the time of a reading is that of its receipt.

Source: RFC 8428, sections 4 and 12.1.
"""

from __future__ import annotations

import json
from typing import Any

from pitlogger.devices.contract import Measurement
from pitlogger.devices.decoders import DecoderInfo
from pitlogger.devices.framing import FrameDecoder, Outcome
from pitlogger.errors import MalformedError, UnknownFrameError, unknown
from pitlogger.formats.capture import Resolved, resolve
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Quality

LARGEST_BYTES = 256 * 1024
_KELVIN = -273.15
_QUANTITY = {unit: quantity for quantity, (unit, _) in SENML_UNIT.items()} | {
    "K": Quantity.TEMPERATURE,
    "g": Quantity.MASS,
}
_QUALITY = {f"!{quality.value}": quality for quality in Quality if quality is not Quality.GOOD}


def decode(payload: bytes) -> list[Outcome]:
    """Return the records of one pack.

    Raises:
        MalformedError: The payload is no SenML pack.
    """
    if len(payload) > LARGEST_BYTES:
        raise MalformedError(f"a pack of {len(payload)} bytes: at most {LARGEST_BYTES} are read")
    try:
        pack = json.loads(
            payload.decode("utf-8"), parse_constant=lambda _: None, object_hook=_without_number
        )
        records = list(resolve(pack))
    except (ValueError, OverflowError, RecursionError) as error:
        raise MalformedError(f"not a SenML pack: {error}") from None
    return [_measured(record) for record in records]


def _measured(record: Resolved) -> Outcome:
    if not record.name.isprintable():
        return MalformedError(f"a name that cannot be printed: {record.name[:40]!a}")
    quantity = _QUANTITY.get(record.unit or "")
    if quantity is None:
        given = record.unit or "none"
        return UnknownFrameError(f"'{record.name}': {unknown('unit', given, _QUANTITY)}")
    unit = "Cel" if record.unit == "K" else str(record.unit)
    if isinstance(record.value, str):
        quality = _QUALITY.get(record.value)
        if quality is None:
            return UnknownFrameError(
                f"'{record.name}' has the text '{record.value[:40]}': expected a number, or one "
                f"of {', '.join(_QUALITY)}"
            )
        return Measurement(record.name, quantity, None, unit, quality)
    if not isinstance(record.value, int | float) or isinstance(record.value, bool):
        return MalformedError(f"'{record.name}' has no number as its value")
    value = float(record.value) + (_KELVIN if record.unit == "K" else 0.0)
    if abs(value) > _HIGHEST:
        return MalformedError(f"'{record.name}' is {value:g}: no reading is so large")
    return Measurement(record.name, quantity, value, unit)


_NOTHING = f"!{Quality.NO_VALUE.value}"
_HIGHEST = 1e9  # ours: keeps numbers no sensor means out of integer arithmetic


def _without_number(record: dict[str, Any]) -> dict[str, Any]:
    """Return a record whose value is NaN, infinite or null as one that says so: RFC 8428 has
    none of them, yet senders write them, and the records beside it are sound."""
    if record.get("v", 0) is not None:
        return record
    return {**{field: said for field, said in record.items() if field != "v"}, "vs": _NOTHING}


DECODER = DecoderInfo(
    name="senml",
    summary="SenML pack, as MQTT messages and captures carry it",
    example="""--text '[{"n":"pit","u":"Cel","v":107.4}]'""",
    build=lambda _: FrameDecoder(decode),
)
