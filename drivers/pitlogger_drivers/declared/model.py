"""The TOML file that describes a device without code.

    name = "tray-probe"
    summary = "two probes in one notification"

    [source]
    kind = "gatt"                        # gatt | advertisement | serial
    characteristic = "0000fff1-0000-1000-8000-00805f9b34fb"
    interval_s = 2                       # longest normal silence between two values

    [frame]                              # gatt and advertisement
    length = 6                           # bytes at least
    prefix = "a5"                        # bytes it begins with, hex
    exact = true                         # frames of other lengths are others

    [[value]]
    channel = "core"
    at = 1                               # offset in bytes
    type = "i16"
    order = "little"
    scale = 0.1
    unit = "Cel"
    sentinels = [0x7fff]                 # raw numbers that mean "no value"

An advertisement is recognised by ``company`` (manufacturer data) or ``service`` (service data). A
serial device has ``baud``, ``format``, perhaps ``poll``, and ``line``, a regular expression
whose named groups hold the values (``group`` in place of ``at`` and ``type``).
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, Literal, Self

import regex
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from pitlogger.devices.number_types import BYTES, Order, Type
from pitlogger.errors import ConfigError
from pitlogger.model.quantities import Quantity
from pitlogger_drivers.columns import QUANTITY_OF, known_unit
from pitlogger_drivers.conversion import Conversion

_UUID = r"^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$"
Uuid = Annotated[str, Field(pattern=_UUID)]
Hex = Annotated[str, Field(pattern=r"^([0-9a-fA-F]{2})*$")]
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")]
Interval = Annotated[float, Field(gt=0, le=86400)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class StartWrite(_Strict):
    """What is written once after connecting, and the wait after it."""

    characteristic: Uuid
    bytes: Annotated[str, Field(pattern=r"^([0-9a-fA-F]{2})+$")]
    wait_s: Annotated[float, Field(ge=0, le=60)] = 0.0


class GattSource(_Strict):
    """A characteristic that is notified, indicated, or read every ``interval_s``."""

    kind: Literal["gatt"]
    characteristic: Uuid
    service: Uuid | None = None
    poll: Hex = ""  # bytes written to ``poll_characteristic`` to ask for a value
    poll_characteristic: Uuid | None = None
    start: Annotated[tuple[StartWrite, ...], Field(max_length=16)] = ()
    interval_s: Interval = 10.0


class AdvertisementSource(_Strict):
    """Manufacturer data of a company, or service data of a service."""

    kind: Literal["advertisement"]
    company: Annotated[int, Field(ge=0, le=0xFFFF)] | None = None
    service: Uuid | None = None
    interval_s: Interval = 30.0

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.company is None) == (self.service is None):
            raise ValueError("give either company or service")
        return self


class HidSource(_Strict):
    """Reports of a USB HID device, each beginning with its report number, 0 where it has none."""

    kind: Literal["hid"]
    usage_page: Annotated[int, Field(ge=0, le=0xFFFF)]
    usage: Annotated[int, Field(ge=0, le=0xFFFF)]
    interval_s: Interval = 5.0


class SerialSource(_Strict):
    """A serial line of text, sent by itself or in answer to ``poll``."""

    kind: Literal["serial"]
    line: str
    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    format: Annotated[str, Field(pattern=r"^[78][NEO][12]$")] = "8N1"
    poll: str = ""
    interval_s: Interval = 5.0

    @field_validator("line")
    @classmethod
    def _is_pattern(cls, line: str) -> str:
        try:
            regex.compile(line)
        except regex.error as error:
            raise ValueError(f"no regular expression: {error}") from None
        return line


class Frame(_Strict):
    """What a frame must look like to be read at all."""

    length: Annotated[int, Field(ge=0, le=512)] = 0
    prefix: Hex = ""
    exact: bool = False  # no byte more than ``length``


class Value(_Strict):
    """One value: where it stands, how it is read, what it means.

    The value is raw * ``scale`` + ``add``, in ``unit``. A sentinel is compared with the raw
    number, or in a serial line with the text of the group. With ``convert`` the value is a
    voltage or a resistance, and ``unit`` that of the temperature it becomes.
    """

    channel: Name
    unit: str
    at: Annotated[int, Field(ge=0, le=511)] | None = None
    type: Type | None = None
    order: Order = "little"
    group: str | None = None
    scale: Decimal = Decimal(1)
    add: Decimal = Decimal(0)
    sentinels: tuple[int | str, ...] = ()
    convert: Conversion | None = None

    @field_validator("unit")
    @classmethod
    def _is_known(cls, unit: str) -> str:
        try:
            return known_unit(unit)
        except ConfigError as error:
            raise ValueError(str(error)) from None

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if (self.at is None) == (self.group is None):
            raise ValueError("give either at (offset in bytes) or group (of the line)")
        if (self.at is None) != (self.type is None):
            raise ValueError("at and type belong together")
        if not (self.scale.is_finite() and self.scale and self.add.is_finite()):
            raise ValueError("scale must be a number other than 0, add a number")
        return self

    @model_validator(mode="after")
    def _becomes_a_temperature(self) -> Self:
        if self.convert is not None and self.unit != "Cel":
            raise ValueError('convert gives a temperature: unit must be "Cel"')
        return self

    @property
    def quantity(self) -> Quantity:
        """What is measured, as the unit tells."""
        return QUANTITY_OF[self.unit]

    @property
    def end(self) -> int:
        """Offset behind the last byte; 0 for a group."""
        return 0 if self.at is None or self.type is None else self.at + BYTES[self.type]


class Stable(_Strict):
    """How a scale tells that it is steady: a bit of an byte, or a word of a group."""

    at: Annotated[int, Field(ge=0, le=511)] | None = None
    mask: Annotated[int, Field(ge=1, le=255)] = 1
    group: str | None = None
    words: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if (self.at is None) == (self.group is None):
            raise ValueError("give either at with mask, or group with words")
        if self.group is not None and not self.words:
            raise ValueError("words is missing: what does the group hold when steady?")
        return self


Source = Annotated[
    GattSource | AdvertisementSource | HidSource | SerialSource, Field(discriminator="kind")
]


class Declaration(_Strict):
    """A declared device."""

    name: Name
    summary: str = ""
    source: Source
    frame: Frame = Frame()
    value: Annotated[tuple[Value, ...], Field(min_length=1, max_length=32)]
    stable: Stable | None = None

    @model_validator(mode="after")
    def _parts_agree(self) -> Self:
        channels = [value.channel for value in self.value]
        twice = next((name for name in channels if channels.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"channel '{twice}' is declared twice")
        is_line = isinstance(self.source, SerialSource)
        if any((place.group is None) is is_line for place in self._places):
            wanted = "group" if is_line else "at"
            raise ValueError(f"a {self.source.kind} device has {wanted} for each value and stable")
        if isinstance(self.source, SerialSource):
            self._check_groups(self.source)
        return self

    def _check_groups(self, source: SerialSource) -> None:
        known = regex.compile(source.line).groupindex
        for place in self._places:
            if place.group not in known:
                raise ValueError(f"the line has no group '{place.group}': {', '.join(known)}")

    @property
    def _places(self) -> tuple[Value | Stable, ...]:
        return (*self.value, self.stable) if self.stable else self.value

    @property
    def size(self) -> int:
        """Fewest bytes a frame must have."""
        stable_end = self.stable.at + 1 if self.stable and self.stable.at is not None else 0
        return max(self.frame.length, stable_end, *(value.end for value in self.value))


@lru_cache(maxsize=64)
def parse(text: str, name: str = "declaration") -> Declaration:
    """Return the declaration of a TOML text; ``name`` names it in errors.

    Raises:
        ConfigError: No TOML, an unknown key, or a value that cannot be used.
    """
    try:
        return Declaration.model_validate(tomllib.loads(text, parse_float=Decimal))
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{name}: {error}") from None
    except ValidationError as error:
        faults = (
            f"{'.'.join(str(part) for part in fault['loc']) or 'file'}: {fault['msg']}"
            for fault in error.errors()
        )
        raise ConfigError(f"{name}: {'; '.join(faults)}") from None
