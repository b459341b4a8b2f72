"""The kitchen: meat, pits, scales and probes as they truly are.

What the plant knows (heat and mass of meat that has been near a fire) is asked of it; what
it does not (trim, rub, what a knife leaves on the board) is kept here. Nobody but the
script's people changes it, and nothing in here is a reading.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from pitlogger.errors import UsageError, unknown
from pitlogger_simulators.devices.instruments import Probe, Scale
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.live import LiveSmoker

# Left on the board and the knife, and tasted: ours, no source.
CARVING_LOSS = 0.012
PLANT_STEP_S = 20.0  # the plant is asked this often; probes lag by about as much


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a probe's tip is: ``core``, ``surface``, ``pit``, ``air`` or ``room``, and of what."""

    kind: str
    subject: str = ""
    depth_mm: float | None = None


ROOM = Spot("room")


@dataclass(slots=True)
class KitchenPiece:
    """A piece, or a batch of like ones; masses are those of the whole batch.

    Attributes:
        mass_g: While the plant does not hold it.
        rub_g: Put on; stays.
        kept: Share of what the plant holds that was not lost to the knife or eaten.
        by_products: Grams, by the name they are weighed under.
    """

    id: str
    spec: PieceSpec
    mass_g: float = 0.0
    rub_g: float = 0.0
    kept: float = 1.0
    in_plant: bool = False
    pit: str | None = None  # where it is, or will be put back in a minute
    by_products: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Kitchen:
    """Everything that is really there."""

    smoker: LiveSmoker
    room_c: float
    meat: dict[str, KitchenPiece]
    scales: dict[str, Scale]
    probes: dict[str, Probe]
    spots: dict[str, Spot]  # where each tip is now
    homes: dict[str, Spot]  # where it belongs
    containers: dict[str, float] = field(default_factory=dict)  # name: grams
    taken: set[str] = field(default_factory=set)  # scales somebody stands at
    _behind_s: float = 0.0
    _felt: dict[Spot, float] = field(default_factory=dict)

    # -- time -----------------------------------------------------------------------------

    def advance(self, seconds: float) -> None:
        """Let time pass for meat, fire and instruments."""
        self._behind_s += seconds
        if self._behind_s >= PLANT_STEP_S:
            self.settle()
        for scale in self.scales.values():
            scale.advance(seconds)
        for channel, probe in self.probes.items():
            probe.advance(seconds, self.temperature_c(self.spots[channel]))

    def settle(self) -> None:
        """Bring the plant up to now, as before every change of it."""
        if self._behind_s > 0:
            self.smoker.advance(self._behind_s)
            self._behind_s = 0.0
        self._felt.clear()

    # -- truth ----------------------------------------------------------------------------

    def piece(self, name: str) -> KitchenPiece:
        """Return a piece.

        Raises:
            UsageError: There is none of that name.
        """
        if name not in self.meat:
            raise UsageError(unknown("piece", name, self.meat))
        return self.meat[name]

    def mass_g(self, name: str) -> float:
        """Return the mass of the meat with its rub, without wrap, juice and container."""
        meat = self.piece(name)
        if not meat.in_plant:
            return meat.mass_g + meat.rub_g
        return (self.smoker.masses(name).meat_g + meat.rub_g) * meat.kept

    def lying_g(self, name: str) -> float:
        """Return what a scale would feel: wrap and the juice in it count."""
        meat = self.piece(name)
        if not meat.in_plant:
            return self.mass_g(name)
        masses = self.smoker.masses(name)
        return self.mass_g(name) + masses.gross_g - masses.meat_g

    def core_c(self, name: str) -> float:
        """Return the temperature in the middle of the thickest part."""
        return self.temperature_c(Spot("core", name))

    def temperature_c(self, spot: Spot) -> float:
        """Return the true temperature at a spot."""
        if spot not in self._felt:
            self._felt[spot] = self._measure(spot)
        return self._felt[spot]

    def _measure(self, spot: Spot) -> float:
        if spot.kind == "pit":
            return float(self.smoker.pit_c(spot.subject))
        meat = self.meat.get(spot.subject)
        if meat is None:
            return self.room_c
        if not meat.in_plant:
            return meat.spec.start_c
        match spot.kind:
            case "core" if spot.depth_mm is not None:
                return float(self.smoker.core_c(spot.subject, depth_mm=spot.depth_mm))
            case "core":
                return float(self.smoker.core_c(spot.subject))
            case "surface":
                return float(self.smoker.surface_c(spot.subject))
            case _:
                return float(self.smoker.air_c(spot.subject))

    # -- hands on the meat ----------------------------------------------------------------

    def take_off(self, name: str, grams: float, by_product: str | None = None) -> None:
        """Cut a mass from a piece; what is cut off lies beside it under its own name."""
        meat = self.piece(name)
        if meat.in_plant:
            self.settle()
            self.smoker.trim(name, grams=grams)
        else:
            meat.mass_g -= grams
        if by_product is not None:
            meat.by_products[by_product] = meat.by_products.get(by_product, 0.0) + grams

    def put_on(self, name: str, pit: str) -> None:
        """Put a piece on the pit, for the first time or again."""
        self.settle()
        meat = self.piece(name)
        meat.pit = pit
        if meat.in_plant:
            self.smoker.put_back(name, pit)
            return
        self.smoker.put_on(name, replace(meat.spec, mass_g=meat.mass_g), pit=pit)
        meat.in_plant = True

    def lift(self, name: str) -> None:
        """Take a piece from the pit for a minute, as it is."""
        self.settle()
        self.smoker.pull(name)

    def place(self, name: str, place: str) -> None:
        """Take a piece off the pit for good, or from one place to another."""
        self.settle()
        meat = self.piece(name)
        meat.pit = None
        self.smoker.place(name, place)

    def open_lid(self, pit: str, seconds: float) -> None:
        """Open a lid for so long."""
        self.settle()
        self.smoker.fire(pit).open_lid(seconds)

    def carve(self, name: str, how: Callable[[str], None]) -> None:
        """Slice, cube or shred a piece: some of it stays on the board."""
        self.settle()
        how(name)
        self.piece(name).kept *= 1.0 - CARVING_LOSS

    def split(self, name: str, shares: dict[str, float]) -> None:
        """Cut a piece into named ones."""
        self.settle()
        meat = self.meat.pop(name)
        self.smoker.split(name, shares)
        for child, share in shares.items():
            self.meat[child] = replace(meat, id=child, rub_g=meat.rub_g * share, by_products={})
        self._move_probes((name,), next(iter(shares)))

    def pool(self, names: tuple[str, ...], child: str) -> None:
        """Put several pieces together as one."""
        self.settle()
        held = [self.meat.pop(name) for name in names]
        kept = sum(meat.kept for meat in held) / len(held)
        self.smoker.pool(names, child)
        self.meat[child] = replace(
            held[0], id=child, rub_g=sum(meat.rub_g for meat in held), kept=kept, by_products={}
        )
        self._move_probes(names, child)

    def _move_probes(self, parents: tuple[str, ...], child: str) -> None:
        """Probes stay where they are stuck, whatever the piece is called now."""
        for channel, spot in self.spots.items():
            if spot.subject in parents:
                self.spots[channel] = replace(spot, subject=child)

    def eat(self, name: str, share: float) -> None:
        """Serve a share of a piece."""
        self.piece(name).kept *= 1.0 - share
