"""The form of a scenario file: the tables of a cook file, and what is true behind them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from pitlogger.errors import unknown
from pitlogger.formats import cook_file
from pitlogger.model.quantities import parse_temperature_step_mc
from pitlogger_simulators.faults import KINDS as FAULTS
from pitlogger_simulators.faults import STEPS

DEVICES = (
    "serial-scale", "hid-scale", "gatt-scale", "gatt-thermometer", "gatt-environmental", "bthome",
    "csv-board", "modbus", "kernel-w1", "kernel-iio", "kernel-hwmon", "mqtt-board",
)  # fmt: skip
ON_RADIO = frozenset({"gatt-scale", "gatt-thermometer", "gatt-environmental", "bthome"})
# Steps at which a link may break. Files have no frames that come in parts, an advertisement is
# one, and a board that publishes is not connected to by pitlogger.
_OPENED = ("idle", "mid-frame", "connect")
STEPS_OF: dict[str, tuple[str, ...]] = {
    "serial-scale": _OPENED, "hid-scale": _OPENED, "csv-board": _OPENED, "modbus": _OPENED,
    "gatt-scale": STEPS, "gatt-thermometer": STEPS, "gatt-environmental": STEPS,
    "mqtt-board": ("idle", "mid-frame"),
}  # fmt: skip
# What a fault may strike besides channels and devices, and which kinds strike nothing else.
PLACES_OF_FAULTS = {"adapter-gone": "adapter", "clock-step": "clock", "power-cut": "node"}
_OF_DEVICES = frozenset({"low-battery", "split", "merge", "bits", "disconnect"})


def _step_c(value: Any) -> float:
    if not isinstance(value, str):
        raise ValueError('expected text with its unit in quotes, such as "0.1 C"')
    return parse_temperature_step_mc(value) / 1000


Step = Annotated[float, BeforeValidator(_step_c)]


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RoomTable(Form):
    """Where it happens. ``rain`` and wind act on the pits."""

    temperature: cook_file.Temperature = 20_000
    wind_m_s: float = Field(0.0, ge=0, le=40)
    rain: bool = False


class PitTable(Form):
    """A pit; ``set`` is what its fire is kept at."""

    id: cook_file.Id
    kind: str = "charcoal"
    set: cook_file.Temperature = 114_000


class MeatForm(Form):
    """What a piece truly is, where it differs from the cook file's word."""

    piece: cook_file.Id
    mass: cook_file.Mass | None = None
    thickness: cook_file.Length | None = None
    start: cook_file.Temperature = 4_000


class DeviceForm(Form):
    """A device; its instruments are ``[[probe]]`` and ``[[scale]]`` tables.

    ``broker`` is ``host:port``, for a board that publishes over MQTT.
    """

    id: cook_file.Id
    kind: Annotated[str, cook_file.one_of("device kind", DEVICES)]
    battery_pct: float = Field(100.0, ge=0, le=100)
    broker: str = "localhost:1883"


class InstrumentTable(Form):
    """Something that measures: the channel it is, the device it is part of, its pace."""

    channel: cook_file.Id
    device: cook_file.Id
    interval: cook_file.Duration = 5_000


class ProbeTable(InstrumentTable):
    """A temperature probe. ``offset`` is its own error, which nobody knows."""

    depth: cook_file.Length | None = None
    lag: cook_file.Duration = 8_000
    noise: Step = 0.05
    resolution: Step = 0.1
    offset: cook_file.TemperatureStep = 0
    pit: cook_file.Id | None = None


class ScaleTable(InstrumentTable):
    """A bench scale."""

    interval: cook_file.Duration = 500
    step: cook_file.Mass = 5_000
    capacity: cook_file.Mass = 30_000_000
    noise: cook_file.Mass = 600
    settle: cook_file.Duration = 500
    auto_off: cook_file.Duration | None = 300_000
    unit: str = "kg"


class ScriptTable(Form):
    """What somebody does, with each of the pieces named, or with none."""

    by: str = ""
    name: str = ""
    pieces: tuple[cook_file.Id, ...] = ()
    steps: tuple[str, ...] = Field(min_length=1)


class FaultTable(Form):
    """A fault; see ``faults`` for the kinds and what ``amount`` means."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    on: cook_file.Id
    kind: Annotated[str, cook_file.one_of("fault", FAULTS)]
    begin: str = Field(alias="from")
    end: str | None = Field(None, alias="to")
    amount: float = 0.0
    step: str = "idle"


class ExpectTable(Form):
    """An alert that ought to come, and when."""

    kind: str
    subject: str
    begin: str | None = Field(None, alias="from")
    end: str | None = Field(None, alias="to")


class ScenarioFile(cook_file.CookFile):
    """A whole scenario."""

    title: str
    about: str = ""
    start: datetime
    limit: cook_file.Duration = 24 * 3_600_000
    tail: cook_file.Duration = 120_000
    seed: int = 1
    by: str = "AB"
    notice: cook_file.Duration = 60_000
    containers: dict[str, cook_file.Mass] = Field(default_factory=dict)
    room: RoomTable = RoomTable()
    pit: tuple[PitTable, ...] = ()
    meat: tuple[MeatForm, ...] = ()
    device: tuple[DeviceForm, ...] = ()
    probe: tuple[ProbeTable, ...] = ()
    scale: tuple[ScaleTable, ...] = ()
    script: tuple[ScriptTable, ...] = ()
    nature: tuple[str, ...] = ()
    fault: tuple[FaultTable, ...] = ()
    expect: tuple[ExpectTable, ...] = ()

    @model_validator(mode="after")
    def _parts_are_known(self) -> ScenarioFile:
        if self.start.tzinfo is None:
            raise ValueError("start has no offset from UTC: add one, such as -05:00 or Z")
        pieces = [table.id for table in self.piece]
        channels = [table.id for table in self.channel]
        devices = [table.id for table in self.device]
        for table in self.instruments():
            if table.channel not in channels:
                raise ValueError(unknown("channel", table.channel, channels))
            if table.device not in devices:
                raise ValueError(unknown("device", table.device, devices))
        for meat in self.meat:
            if meat.piece not in pieces:
                raise ValueError(unknown("piece", meat.piece, pieces))
        for fault in self.fault:
            self._fault_can_strike(fault, channels)
        return self

    def _fault_can_strike(self, fault: FaultTable, channels: list[str]) -> None:
        kinds = {table.id: table.kind for table in self.device}
        place = PLACES_OF_FAULTS.get(fault.kind)
        known = [place] if place else [*kinds] if fault.kind in _OF_DEVICES else [*channels, *kinds]
        if fault.on not in known:
            raise ValueError(unknown(f"place of a {fault.kind} fault", fault.on, known))
        steps = STEPS_OF.get(kinds.get(fault.on, ""), ("idle",))
        if fault.kind == "disconnect" and fault.step not in steps:
            raise ValueError(unknown(f"step of the link to {fault.on}", fault.step, steps))
        if fault.kind != "disconnect" and fault.step != "idle":
            raise ValueError(f"a {fault.kind} fault has no step: only a disconnect has")

    def instruments(self) -> list[InstrumentTable]:
        """Return all probes and scales."""
        return [*self.probe, *self.scale]
