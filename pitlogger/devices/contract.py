"""What a driver owes: a description, a decoder (bytes in, measurements out), a transport.

A decoder has no await, port, clock or logger. A transport has no idea what its bytes mean.
That split lets every decoder be tested without hardware and every transport without a decoder.
A driver joins the two for one device; the supervisor runs it.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, MutableMapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar, NamedTuple, Protocol, runtime_checkable

from pydantic import BaseModel, ConfigDict, Field

from pitlogger.errors import DecodeError, RefusedError, TransportError, unknown
from pitlogger.model.quantities import MG_PER, Quantity
from pitlogger.model.readings import Quality


class Measurement(NamedTuple):
    """What a decoder makes of bytes: one value as the device sent it.

    Attributes:
        channel: The device's own name for it (``mass``, ``temperature``, ``probe-2``).
        quantity: What is measured.
        value: Number in ``unit``; ``None`` where there is no value, then ``quality`` says why.
        unit: As sent: ``kg g lb oz mg Cel degF %RH %EL dBm V Pa`` or empty.
        quality: ``good`` or the reason.
        stable: The device's own word on steadiness; ``None`` where it gives none.
        text: What was scanned, where the quantity is ``code``: then there is no value.
    """

    channel: str
    quantity: Quantity
    value: float | None
    unit: str
    quality: Quality = Quality.GOOD
    stable: bool | None = None
    text: str = ""


class Chunk(NamedTuple):
    """Bytes as received. ``source`` distinguishes the streams of one device (a GATT
    characteristic, a file); it is empty where there is only one. With a ``fault`` there are
    no bytes: that source alone cannot be read now, and this is why."""

    source: str
    data: bytes
    fault: TransportError | None = None


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """One channel a driver can give.

    ``settled``: it speaks only when the device itself has found a value to rest, as a scale
    does that sends one result a weighing.
    """

    name: str
    quantity: Quantity
    unit: str
    description: str = ""
    settled: bool = False

    def covers(self, name: str) -> bool:
        """Return whether a measurement's channel is this one; ``temperature*`` covers many."""
        if self.name.endswith("*"):
            return name.startswith(self.name[:-1])
        return name == self.name


Memory = MutableMapping[str, Any]  # what a driver keeps over restarts; JSON values


class DriverConfig(BaseModel):
    """Base of every driver's own configuration; unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)

    interval_s: float | None = Field(
        default=None, gt=0, description="longest normal pause between two readings"
    )
    silence_s: float | None = Field(
        default=None, gt=0, description="start anew when nothing came for so long"
    )


@dataclass(frozen=True, slots=True)
class DriverInfo:
    """What a driver is, in one place.

    Attributes:
        transport: ``serial``, ``ble-gatt``, ``ble-advertisement``, ``hidraw``, ``sysfs``,
            ``mqtt``, ``modbus``, ``evdev``, ``replay``, or a lowercase name of one's own.
        channels: What it can give; a name that ends in ``*`` stands for as many as there are.
        interval_s: The longest normal pause between two values of a channel; a channel
            silent for three times that is stale.
        silence_s: Start anew when no byte came for so long. ``None`` where silence is
            normal and the transport looks after the link itself.
        decoders: Names under which ``pitlogger decode`` knows its decoders.
        commands: What can be sent to the device, by name.
        signs: By what a device in reach shows that this driver may suit it: ``port``,
            ``w1``, ``iio``, ``hwmon``, ``hid:8d:20``, ``service:181d``, ``service-data:fcd2``.
    """

    name: str
    summary: str
    transport: str
    channels: tuple[ChannelInfo, ...]
    interval_s: float
    silence_s: float | None = None
    config: type[DriverConfig] = DriverConfig
    decoders: tuple[str, ...] = ()
    commands: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()

    def offered(self, name: str) -> tuple[ChannelInfo, ...]:
        """Return what a channel of this name may be; several where its settings decide."""
        return tuple(channel for channel in self.channels if channel.covers(name))


@runtime_checkable
class Decoder(Protocol):
    """Bytes in, measurements out; partial input is kept until the rest comes."""

    def feed(self, chunk: Chunk) -> Iterable[Measurement | DecodeError]:
        """Return what the bytes complete: measurements, and a named error for what they break.

        Errors are returned, not raised, so that one bad frame does not hide the next good one.
        """


@runtime_checkable
class Sourced(Decoder, Protocol):
    """A decoder that knows what its sources give, before they gave anything."""

    def missing(self, source: str) -> Iterable[Measurement]:
        """Return the measurements, without a value, of a source that cannot be read."""


@runtime_checkable
class Transport(Protocol):
    """An open way to one device, as an async context manager that yields chunks.

    Raises:
        TransportError: On opening or while reading; the supervisor then starts anew.
    """

    async def __aenter__(self) -> Transport: ...

    async def __aexit__(self, *exc: object) -> None: ...

    def chunks(self) -> AsyncIterator[Chunk]:
        """Yield bytes as they come; end or raise ``TransportError`` when the device is gone."""

    async def send(self, data: bytes) -> None:
        """Write bytes to the device."""


@runtime_checkable
class Announced(Protocol):
    """A transport that notices when a missing device is there again."""

    async def appears(self) -> None:
        """Return when a device that was not there has come; never while it stays as it was."""


@runtime_checkable
class Listening(Protocol):
    """A transport that only listens: being open says nothing about the device, a word does.

    Starting anew after a silence would bring nothing, and could miss the next word.
    """

    only_listens: ClassVar[bool]


@runtime_checkable
class EventDriven(Decoder, Protocol):
    """A decoder that may learn that its device speaks only when something happens."""

    @property
    def speaks_on_events(self) -> bool:
        """Whether it has: then no silence means anything."""


@runtime_checkable
class Describing(Protocol):
    """A transport whose device can say what it is."""

    async def facts(self) -> dict[str, str]:
        """Return maker, model and the like, in words; empty where it says nothing."""


class Driver(Protocol):
    """Joins decoder and transport for one device; made once a device, with its memory."""

    info: ClassVar[DriverInfo]

    def __init__(self, memory: Memory) -> None: ...

    def decoder(self, config: Any) -> Decoder:
        """Return a fresh decoder, made when a connection is open."""

    def transport(self, config: Any) -> Transport:
        """Return a transport not yet open; one for each attempt to connect."""

    def command(self, name: str) -> bytes:
        """Return the bytes of a command named in ``info.commands``."""


class DriverBase:
    """What most drivers share: memory, and commands as a table."""

    info: ClassVar[DriverInfo]
    requests: ClassVar[dict[str, bytes]] = {}

    def __init__(self, memory: Memory) -> None:
        self.memory = memory

    def command(self, name: str) -> bytes:
        """Return the bytes of a command.

        Raises:
            RefusedError: The device has no such command.
        """
        if name not in self.requests:
            raise RefusedError(unknown(f"command of {self.info.name}", name, self.requests))
        return self.requests[name]


_FACTOR = {unit: float(mg) for unit, mg in MG_PER.items()}


def milli_units(value: float | Decimal, unit: str) -> int:
    """Return a measurement's value in the channel's milli-units (milli-degC, mg, milli-percent)."""
    factor = _FACTOR.get(unit)
    if factor is not None:
        return round(float(value) * factor)
    if unit == "degF":
        return round((float(value) - 32.0) / 0.0018)
    return round(float(value) * 1000)
