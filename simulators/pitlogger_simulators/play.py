"""A scenario on its stage: the kitchen, its people, its instruments and their faults."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from pitlogger.model.readings import Site
from pitlogger_simulators.devices.instruments import Probe, Sample, Scale
from pitlogger_simulators.faults import Faults
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.kitchen import ROOM, Kitchen, KitchenPiece, Spot
from pitlogger_simulators.people.person import Crew, Script, SimulatedPerson
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker
from pitlogger_simulators.plant.pits import Pit
from pitlogger_simulators.scenarios.form import ON_RADIO, InstrumentTable, ProbeTable, ScaleTable
from pitlogger_simulators.scenarios.scenario import NATURE, Scenario

Steady = Callable[[str], int | None]


@dataclass(slots=True)
class Outlet:
    """Where a channel comes out of the kitchen: its instrument, device and pace."""

    channel: str
    device: str
    interval_ms: int
    instrument: Probe | Scale
    next_ms: int = 0

    @property
    def is_scale(self) -> bool:
        return isinstance(self.instrument, Scale)


@dataclass(slots=True)
class Play:
    """Everything that goes on, but for pitlogger itself.

    Attributes:
        now_ms: Simulated UTC milliseconds.
    """

    scenario: Scenario
    kitchen: Kitchen
    crew: Crew
    outlets: dict[str, Outlet]
    faults: Faults
    now_ms: int
    rng: random.Random

    def advance_to(self, now_ms: int) -> None:
        """Let time pass for meat, fire and instruments."""
        if now_ms > self.now_ms:
            self.kitchen.advance((now_ms - self.now_ms) / 1000)
            self.now_ms = now_ms

    def sample(self, channel: str) -> Sample | None:
        """Return what an instrument shows now with its faults; ``None`` while it is off."""
        outlet = self.outlets[channel]
        sample = outlet.instrument.sample(self.rng)
        if sample is None:
            return None
        return self.faults.value(channel, outlet.device, self.now_ms, sample)

    def comes(self, channel: str, has_bytes: bool = True) -> bool:
        """Return whether a frame of a channel gets through now."""
        device = self.outlets[channel].device
        return self.faults.is_linked(
            device, self.now_ms, self.is_bluetooth(device)
        ) and self.faults.delivers(channel, device, self.now_ms, has_bytes)

    def is_bluetooth(self, device: str) -> bool:
        """Return whether a device is reached by radio."""
        table = next(table for table in self.scenario.file.device if table.id == device)
        return table.kind in ON_RADIO


def stage(scenario: Scenario, steady_mg: Steady, seed: int | None = None) -> Play:
    """Return a scenario ready to begin.

    Args:
        steady_mg: Asks pitlogger for the steady mass of a scale channel.
        seed: Instead of the scenario's own.
    """
    file = scenario.file
    chosen = file.seed if seed is None else seed
    kitchen = _kitchen(scenario, chosen)
    people = [
        _person(scenario, by, kitchen, steady_mg, chosen)
        for by in dict.fromkeys(line.by for line in scenario.lines)
    ]
    outlets = {
        table.channel: Outlet(
            table.channel, table.device, table.interval, _instrument(kitchen, table)
        )
        for table in file.instruments()
    }
    return Play(
        scenario=scenario,
        kitchen=kitchen,
        crew=Crew(people),
        outlets=outlets,
        faults=Faults(scenario.faults, random.Random(f"{chosen}/faults")),
        now_ms=scenario.start_ms,
        rng=random.Random(f"{chosen}/noise"),
    )


def _instrument(kitchen: Kitchen, table: InstrumentTable) -> Probe | Scale:
    held: dict[str, Probe] | dict[str, Scale]
    held = kitchen.probes if isinstance(table, ProbeTable) else kitchen.scales
    return held[table.channel]


def _kitchen(scenario: Scenario, seed: int) -> Kitchen:
    file = scenario.file
    room_c = file.room.temperature / 1000
    smoker = LiveSmoker(seed=seed, room_c=room_c)
    for pit in file.pit:
        smoker.add_pit(pit.id, Pit(kind=pit.kind, set_c=pit.set / 1000))
    if file.room.wind_m_s or file.room.rain:
        smoker.weather(wind_m_s=file.room.wind_m_s, rain=file.room.rain)
    truths = {table.piece: table for table in file.meat}
    meat = {}
    for piece in scenario.cook.pieces:
        truth = truths.get(piece.id)
        mass_mg = (truth.mass if truth else None) or piece.mass_mg or 5_000_000
        start_c = 4.0 if truth is None else truth.start / 1000
        spec = PieceSpec(
            piece.cut,
            mass_g=mass_mg / 1000,
            thickness_mm=(truth.thickness if truth else None) or piece.thickness_mm,
            start_c=start_c,
            count=piece.count,
        )
        meat[piece.id] = KitchenPiece(piece.id, spec, mass_mg / 1000)
    homes = {table.channel: _home(scenario, table) for table in file.probe}
    spots = {
        channel: ROOM if home.kind in ("core", "surface") else home
        for channel, home in homes.items()
    }
    return Kitchen(
        smoker=smoker,
        room_c=room_c,
        meat=meat,
        scales={table.channel: _scale(table) for table in file.scale},
        probes={table.channel: _probe(table) for table in file.probe},
        spots=spots,
        homes=homes,
        containers={name: mass / 1000 for name, mass in file.containers.items()},
    )


def _home(scenario: Scenario, table: ProbeTable) -> Spot:
    """Return where a probe belongs, from what its channel says."""
    channel = next(c for c in scenario.cook.channels if c.id == table.channel)
    match channel.site:
        case Site.CORE if channel.piece is not None:
            return Spot("core", channel.piece, table.depth)
        case Site.SURFACE if channel.piece is not None:
            return Spot("surface", channel.piece)
        case Site.PIT:
            return Spot("pit", table.pit or channel.id)
        case Site.HOLD | Site.TRANSPORT | Site.LINE | Site.COLD if channel.piece is not None:
            return Spot("air", channel.piece)
        case _:
            return ROOM


def _scale(table: ScaleTable) -> Scale:
    return Scale(
        interval_g=table.step / 1000,
        capacity_g=table.capacity / 1000,
        noise_g=table.noise / 1000,
        settle_s=table.settle / 1000,
        auto_off_s=None if table.auto_off is None else table.auto_off / 1000,
        unit=table.unit,
    )


def _probe(table: ProbeTable) -> Probe:
    return Probe(
        lag_s=table.lag / 1000,
        noise_c=table.noise,
        resolution_c=table.resolution,
        offset_c=table.offset / 1000,
    )


def _person(
    scenario: Scenario, by: str, kitchen: Kitchen, steady_mg: Steady, seed: int
) -> SimulatedPerson:
    hand = Hand(kitchen, "" if by == NATURE else by, random.Random(f"{seed}/{by}"), steady_mg)
    scripts = [
        Script(line.name, line.piece, line.steps) for line in scenario.lines if line.by == by
    ]
    return SimulatedPerson(hand, scripts, scenario.file.notice / 1000, heeds=by != NATURE)
