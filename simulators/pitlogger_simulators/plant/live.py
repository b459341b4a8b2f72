"""A smoker in use: pieces come and go, people do things, time passes in any steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import PLACES, Boundary, place_of, wrap_of
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.fire import Fire, Weather
from pitlogger_simulators.plant.meat import Meat, rearranged
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.pits import Pit

LOADING_S = 60.0  # how long the lid is open while meat goes on
_MAX_STEP_S = 30.0
_COUNTER = "counter"


@dataclass(frozen=True, slots=True)
class Masses:
    """What lies on a scale: meat with its wet surface, juice in the wrap, the wrap."""

    meat_g: float
    juice_g: float
    wrap_g: float

    @property
    def gross_g(self) -> float:
        """All of it together."""
        return self.meat_g + self.juice_g + self.wrap_g


@dataclass(slots=True)
class _Lying:
    body: Body
    pit: str | None  # name of the pit it is on
    place: str = _COUNTER
    wrap: str = "none"


class LiveSmoker:
    """Pits and pieces that people act upon.

    Args:
        seed: Same seed and same acts, same bytes.
        room_c: Temperature of the room and the air outside.
    """

    def __init__(self, seed: int = 0, room_c: float = 22.0) -> None:
        self.time_s = 0.0
        self._rng = np.random.default_rng(seed)
        self._weather = Weather(room_c)
        self._fires: dict[str, Fire] = {}
        self._pieces: dict[str, _Lying] = {}
        self._place_air_c: dict[str, float] = {}

    @property
    def pieces(self) -> tuple[str, ...]:
        """Names of the pieces there are."""
        return tuple(self._pieces)

    @property
    def pits(self) -> tuple[str, ...]:
        """Names of the pits there are."""
        return tuple(self._fires)

    # People: pits

    def add_pit(self, name: str, pit: Pit | None = None) -> None:
        """Set up a pit."""
        if name in self._fires:
            raise UsageError(f"pit '{name}' is there already; give another name")
        self._fires[name] = Fire(pit or Pit(), self._rng, self._weather)

    def fire(self, pit: str) -> Fire:
        """Return the fire of a pit, to tend it.

        Raises:
            UsageError: No such pit.
        """
        if pit not in self._fires:
            raise UsageError(unknown("pit", pit, self._fires))
        return self._fires[pit]

    def weather(
        self, wind_m_s: float = 0.0, rain: bool = False, room_c: float | None = None
    ) -> None:
        """Change wind, rain and, where given, the temperature outside."""
        kept_c = self._weather.room_c if room_c is None else room_c
        self._weather = Weather(kept_c, wind_m_s, rain)

    def set_place_air(self, place: str, air_c: float | None) -> None:
        """Give a place another temperature (a cabinet switched off); ``None`` restores it."""
        place_of(place)
        if air_c is None:
            self._place_air_c.pop(place, None)
        else:
            self._place_air_c[place] = air_c

    # People: pieces

    def put_on(
        self,
        name: str,
        spec: PieceSpec,
        pit: str | None,
        parameters: Parameters | None = None,
        lid_s: float = LOADING_S,
    ) -> None:
        """Put a piece on a pit, lid open for a while; with no pit it lies on the counter."""
        self._new_name(name)
        if pit is not None:
            self.fire(pit).open_lid(lid_s)
        self._pieces[name] = _Lying(Body(spec, parameters), pit)

    def wrap(self, name: str, wrap: str) -> None:
        """Wrap a piece; juice of a wrap before is let go."""
        wrap_of(wrap)
        self.unwrap(name)
        self._piece(name).wrap = wrap

    def unwrap(self, name: str) -> float:
        """Take the wrap off and return the juice let go, g."""
        piece = self._piece(name)
        piece.wrap = "none"
        return float(piece.body.release_juice()[0])

    def vent(self, name: str) -> None:
        """Fold a foil wrap open; the juice stays."""
        piece = self._piece(name)
        if piece.wrap not in {"foil", "pan"}:
            raise RefusedError(
                f"'{name}' is wrapped in {piece.wrap}: only foil and pan can be vented"
            )
        piece.wrap = "vented"

    def pull(self, name: str, place: str = _COUNTER) -> None:
        """Take a piece off the pit, wrapped as it is."""
        self.place(name, place)

    def place(self, name: str, place: str) -> None:
        """Lay a piece somewhere off the pit, see ``PLACES``."""
        place_of(place)
        piece = self._piece(name)
        piece.pit, piece.place = None, place

    def put_back(self, name: str, pit: str, lid_s: float = LOADING_S) -> None:
        """Put a piece on a pit again."""
        self.fire(pit).open_lid(lid_s)
        self._piece(name).pit = pit

    def trim(self, name: str, grams: float) -> None:
        """Cut something off, the same all over; a wrap comes off first."""
        self.unwrap(name)
        piece = self._piece(name)
        mass_g = float(piece.body.mass_g[0])
        if not 0.0 <= grams < mass_g:
            raise UsageError(f"trim {grams:g} g off {mass_g:g} g: expected less than there is")
        piece.body = self._of(piece, piece.body.meat.portion(1.0 - grams / mass_g))

    def slice(self, name: str, depth_mm: float = 50.0) -> None:
        """Slice or chop a piece into a shallow pan, so deep."""
        self._mix((name,), name, depth_mm, 0.0)

    def shred(self, name: str, depth_mm: float = 75.0) -> None:
        """Pull (shred) a piece into a pan, so deep."""
        self._mix((name,), name, depth_mm, 0.0)

    def cube(self, name: str, edge_mm: float = 30.0) -> None:
        """Cut a piece into loose cubes."""
        self._mix((name,), name, edge_mm, 2.0)

    def pool(self, names: Sequence[str], name: str, depth_mm: float = 75.0) -> None:
        """Pull (shred) several pieces together into one pan of a new name."""
        if name not in names:
            self._new_name(name)
        self._mix(tuple(names), name, depth_mm, 0.0)

    def split(self, name: str, shares: Mapping[str, float]) -> None:
        """Cut a piece across; ``shares`` of its mass by new name, adding up to at most one."""
        if not shares or min(shares.values()) <= 0.0 or sum(shares.values()) > 1.0 + 1e-9:
            raise UsageError(f"shares {dict(shares)}: expected positive, together at most 1")
        whole = self._piece(name)
        for part in shares:
            if part != name:
                self._new_name(part)
        del self._pieces[name]
        for part, share in shares.items():
            body = self._of(whole, whole.body.meat.portion(share))
            self._pieces[part] = _Lying(body, whole.pit, whole.place)

    def remove(self, name: str) -> None:
        """Take a piece away (served, discarded)."""
        self._piece(name)
        del self._pieces[name]

    # Time

    def advance(self, dt_s: float) -> None:
        """Let ``dt_s`` seconds pass, in steps of at most 30 s."""
        if dt_s < 0.0:
            raise UsageError(f"advance by {dt_s:g} s: time only goes forward")
        steps = int(np.ceil(dt_s / _MAX_STEP_S))
        for _ in range(steps):
            self._step(dt_s / steps)
        self.time_s += dt_s

    def _step(self, dt_s: float) -> None:
        vapour = dict.fromkeys(self._fires, 0.0)
        for piece in self._pieces.values():
            piece.body.step(dt_s, self._boundary(piece))
            if piece.pit is not None:
                vapour[piece.pit] += float(piece.body.vapour_kg_s[0] * piece.body.count[0])
        for name, fire in self._fires.items():
            fire.advance(dt_s, vapour[name], self._weather)

    # Truth

    def core_c(self, name: str, depth_mm: float | None = None) -> float:
        """Return the temperature at the centre, or at a depth under the surface."""
        body = self._piece(name).body
        return float((body.core_c if depth_mm is None else body.cell_c(depth_mm))[0])

    def surface_c(self, name: str) -> float:
        """Return the temperature of the surface."""
        return float(self._piece(name).body.surface_c[0])

    def air_c(self, name: str) -> float:
        """Return the air temperature where a piece lies."""
        return float(np.asarray(self._boundary(self._piece(name)).air_c).flat[0])

    def masses(self, name: str) -> Masses:
        """Return the masses of a piece as it lies."""
        piece = self._piece(name)
        body = piece.body
        return Masses(
            float(body.mass_g[0]),
            float(body.kept_g[0]),
            wrap_of(piece.wrap).mass_g * float(body.count[0]),
        )

    def collagen_index(self, name: str) -> float:
        """Return the softened share of collagen at the centre; an index, not tenderness."""
        return float(self._piece(name).body.collagen_index[0])

    def where(self, name: str) -> str:
        """Return the pit or place where a piece lies."""
        piece = self._piece(name)
        return piece.place if piece.pit is None else piece.pit

    def wrap_of(self, name: str) -> str:
        """Return the wrap of a piece, ``none`` for unwrapped."""
        return self._piece(name).wrap

    def body(self, name: str) -> Body:
        """Return the body of a piece, for what has no word of its own here."""
        return self._piece(name).body

    def pit_c(self, pit: str) -> float:
        """Return the air temperature of a pit."""
        return float(self.fire(pit).air_c[0])

    def wall_c(self, pit: str) -> float:
        """Return the wall temperature of a pit."""
        return float(self.fire(pit).wall_c[0])

    def humidity_ratio(self, pit: str) -> float:
        """Return kg of water per kg of dry air in a pit."""
        return float(self.fire(pit).humidity_ratio[0])

    # Parts

    def _boundary(self, piece: _Lying) -> Boundary:
        if piece.pit is not None:
            bare = self._fires[piece.pit].boundary()
        else:
            air_c = self._place_air_c.get(piece.place)
            bare = PLACES[piece.place].boundary(self._weather.room_c, air_c)
        return bare if piece.wrap == "none" else bare.wrapped(piece.wrap)

    def _mix(self, names: tuple[str, ...], name: str, size_mm: float, shape: float) -> None:
        if not names or not 5.0 <= size_mm <= 300.0:
            raise UsageError(f"{len(names)} pieces, {size_mm:g} mm: expected some, 5 to 300 mm")
        old = [self._piece(n) for n in names]
        meats = [_whole(piece.body) for piece in old]
        body = Body.of(rearranged(meats, size_mm / 2000.0, shape), old[0].body.parameters)
        for n in names:
            del self._pieces[n]
        self._pieces[name] = _Lying(body, old[0].pit, old[0].place)

    def _of(self, piece: _Lying, meat: Meat) -> Body:
        return Body.of(meat, piece.body.parameters, float(piece.body.count[0]))

    def _piece(self, name: str) -> _Lying:
        if name not in self._pieces:
            raise UsageError(unknown("piece", name, self._pieces))
        return self._pieces[name]

    def _new_name(self, name: str) -> None:
        if name in self._pieces:
            raise UsageError(f"piece '{name}' is there already; give another name")


def _whole(body: Body) -> Meat:
    # All of a batch of like pieces as one body of meat.
    return body.meat.portion(float(body.count[0]))
