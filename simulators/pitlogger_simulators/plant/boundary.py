"""What surrounds a piece: a pit, a wrap, a box, a refrigerator. All are changed numbers.

A boundary is air and walls with their humidity, a coefficient of convection, an emissivity,
and a factor on the vapour's way off. A wrap multiplies three of them and keeps juice in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitlogger.errors import UsageError, unknown
from pitlogger_simulators.plant.properties import Value
from pitlogger_simulators.plant.vapour import (
    STANDARD_PRESSURE_PA,
    humidity_ratio,
    saturation_pa,
)

MEAT_EMISSIVITY = 0.9  # textbook value, from memory


@dataclass(frozen=True, slots=True)
class Boundary:
    """What a piece sees during a step; every field is a float or an array of shape (n,).

    Attributes:
        air_c: Temperature of the air.
        wall_c: Temperature of what it radiates to.
        humidity_ratio: kg of water per kg of dry air.
        convection: W/(m2 K).
        emissivity: Of the surface, with the wrap; 0 stops radiation.
        vapour: What a layer lets through, as a share of what a wholly wet open surface would
            give off; the meat's own way stands behind it. 0 is tight.
        retained: Share of dripping juice and fat that stays in the wrap or pan.
        pressure_pa: Air pressure.
    """

    air_c: Value
    wall_c: Value
    humidity_ratio: Value = 0.03
    convection: Value = 8.5
    emissivity: Value = MEAT_EMISSIVITY
    vapour: Value = 1.0
    retained: Value = 0.0
    pressure_pa: Value = STANDARD_PRESSURE_PA

    def wrapped(self, wrap: str) -> Boundary:
        """Return the same surroundings seen from inside a wrap (see ``WRAPS``)."""
        layer = wrap_of(wrap)
        return replace(
            self,
            convection=self.convection * layer.convection,
            emissivity=self.emissivity * layer.radiation,
            vapour=self.vapour * layer.vapour,
            retained=np.maximum(self.retained, layer.retained),
        )


@dataclass(frozen=True, slots=True)
class Wrap:
    """Factors on convection, radiation and vapour, the share of juice kept, its own mass."""

    convection: float = 1.0
    radiation: float = 1.0
    vapour: float = 1.0
    retained: float = 0.0
    mass_g: float = 0.0


# Fitted here, not measured: bright foil radiates less and holds still air, paper hardly does.
# Vapour: two sheets of kraft paper pass 31 (dry cup) to 42 perm (wet cup; ASHRAE Fundamentals,
# table of permeances, from memory; Burch, Thomas and Fanney 1992 measured the same kind),
# 1.8e-9 to 2.4e-9 kg/(Pa s m2), which is 3 to 4 % of what 8.5 W/(m2 K) carry off a wholly
# wet surface, but a sixth of what a bare piece gives off, of which a quarter is wet. Folds leak:
# 12 % makes paper as slow as was measured. What foil and pans leak is set by the record that
# went from 165 to 205 F in 3 h in a pan at 225 F. Masses are ours.
WRAPS: dict[str, Wrap] = {
    "none": Wrap(),
    "paper": Wrap(0.97, 0.97, 0.12, 0.0, 85.0),
    "foil": Wrap(0.72, 0.62, 0.0043, 1.0, 60.0),
    # Foil below, open above: a little more than half of the surface is covered.
    "boat": Wrap(0.82, 0.75, 0.12, 1.0, 40.0),
    # A deep pan under a foil lid.
    "pan": Wrap(0.65, 0.55, 0.0020, 1.0, 160.0),
    # A foil wrap folded open to stop the cooking.
    "vented": Wrap(0.85, 0.75, 0.10, 1.0, 60.0),
}


def wrap_of(name: str) -> Wrap:
    """Return a wrap by name.

    Raises:
        UsageError: If there is no such wrap.
    """
    if name not in WRAPS:
        raise UsageError(unknown("wrap", name, WRAPS))
    return WRAPS[name]


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Somewhere off the pit.

    Attributes:
        air_c: Temperature, or ``None`` for that of the room.
        relative_humidity: 0 to 1, at the temperature of the air (at most 90 C counts).
        wall_drop_c: How much cooler the walls are than the air.
        convection: W/(m2 K); for an insulated box its whole loss to the room.
        emissivity: 0 where the loss through a box already holds everything.
        vapour: As in ``Boundary``.
    """

    air_c: float | None
    relative_humidity: float
    convection: float
    emissivity: float = MEAT_EMISSIVITY
    vapour: float = 1.0
    wall_drop_c: float = 0.0

    def boundary(self, room_c: Value, air_c: Value | None = None) -> Boundary:
        """Return the surroundings here; ``air_c`` overrides the place's own temperature."""
        air = air_c if air_c is not None else room_c if self.air_c is None else self.air_c
        vapour_pa = self.relative_humidity * saturation_pa(np.minimum(air, 90.0))
        return Boundary(
            air,
            air - self.wall_drop_c,
            humidity_ratio(vapour_pa),
            self.convection,
            self.emissivity,
            self.vapour,
        )


# Coefficients are textbook values for still and moved air (from memory), unless said.
PLACES: dict[str, Surroundings] = {
    "counter": Surroundings(None, 0.5, 4.0),
    # On a tray under a loose cloth.
    "rest": Surroundings(None, 0.5, 3.0, 0.6, 0.3),
    # Loss fitted to hobby records of insulated boxes: 198 to 165 F in 3 h, 194 to 174 F in
    # 2 h, 200 to 140 F in 6 h.
    "box": Surroundings(None, 0.5, 4.2, 0.0, 0.005),
    "transport": Surroundings(None, 0.5, 5.0, 0.0, 0.005),
    "cabinet": Surroundings(66.0, 0.5, 12.0),
    "line": Surroundings(70.0, 0.6, 9.0, 0.9, 0.1),
    "refrigerator": Surroundings(3.0, 0.7, 8.0),
    # In a bag, stirred.
    "ice-bath": Surroundings(0.5, 1.0, 300.0, 0.0, 0.0),
    "oven": Surroundings(135.0, 0.02, 15.0, 0.9, 1.0, 5.0),
}


def place_of(name: str) -> Surroundings:
    """Return a place by name.

    Raises:
        UsageError: If there is no such place.
    """
    if name not in PLACES:
        raise UsageError(unknown("place", name, PLACES))
    return PLACES[name]


def at_place(name: str, room_c: Value = 22.0, air_c: Value | None = None) -> Boundary:
    """Return the surroundings of an unwrapped piece at a place, see ``PLACES``."""
    return place_of(name).boundary(room_c, air_c)
