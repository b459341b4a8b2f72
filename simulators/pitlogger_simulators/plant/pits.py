"""Kinds of pits: how each warms, swings, sags and suffers weather.

Figures are ours, chosen to look like logged pits: swings of 1.5 to 5 C over 5 to 20 min, 20
to 55 C lost through an open lid and regained in 3 to 7 min, walls 0 to 20 C cooler than the
air. Convection 5 to 12 W/(m2 K) with natural draught, 15 to 40 with a fan; fuel adds 0.01 to
0.04 to the humidity ratio, 3 to 10 kg of air pass in an hour (all from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitlogger.errors import UsageError, unknown
from pitlogger_simulators.plant.properties import Array, Value

ENDLESS = 1e12


@dataclass(frozen=True, slots=True)
class FireKind:
    """What a kind of fire does.

    Attributes:
        warm_s, recover_s, fade_s: Time constants of a cold start, of the air after the lid
            is closed, of a fire that is left.
        noise_c, noise_s: Standard deviation and memory of the swings.
        wall_drop_c: Walls below air.
        convection: W/(m2 K).
        fuel_humidity, air_kg_h: Water from fuel and the air that passes.
        load_s, sag_c: How long a load of fuel lasts; how far it swings from full to spent.
        damp_c: Loss for ten minutes after fresh fuel.
        wind_c, rain_c: Loss per m/s of wind, loss in rain.
    """

    warm_s: float
    recover_s: float
    fade_s: float
    noise_c: float
    noise_s: float
    wall_drop_c: float
    convection: float
    fuel_humidity: float
    air_kg_h: float
    load_s: float
    sag_c: float
    damp_c: float
    wind_c: float
    rain_c: float


KINDS: dict[str, FireKind] = {
    "charcoal": FireKind(900, 240, 2400, 3.0, 900, 8, 8.5, 0.020, 6, 21_600, 2.0, 6.0, 0.8, 4.0),
    "wood": FireKind(1200, 300, 1500, 4.5, 700, 8, 9.5, 0.035, 10, 2_700, 6.0, 8.0, 1.2, 5.0),
    "pellet": FireKind(420, 200, 700, 2.0, 350, 6, 12.0, 0.025, 9, 72_000, 0.0, 0.0, 0.5, 3.0),
    "gas": FireKind(300, 180, 200, 1.5, 500, 10, 7.5, 0.030, 8, ENDLESS, 0.0, 0.0, 1.5, 5.0),
    # The pit of the documentation and of most tests: nothing happens in it.
    "still": FireKind(300, 200, 600, 0.0, 600, 8, 8.5, 0.018, 6, ENDLESS, 0.0, 0.0, 0.0, 0.0),
}


@dataclass(frozen=True, slots=True)
class Pit:
    """A pit as it stands; fields may be arrays of shape (n,) in a batch of cooks.

    Attributes:
        kind: One of ``KINDS``.
        set_c: What the cook wants of the air.
        hot: Whether it is at temperature at the start, or lit cold.
        tended: Whether somebody adds fuel before a load is spent.
        water_pan_kg_h: Water a pan gives off.
        wall_drop_c, convection, air_kg_h: ``None`` takes what the kind has.
    """

    kind: str = "charcoal"
    set_c: Value = 114.4
    hot: bool = True
    tended: bool = True
    water_pan_kg_h: Value = 0.0
    wall_drop_c: Value | None = None
    convection: Value | None = None
    air_kg_h: Value | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise UsageError(unknown("pit", self.kind, KINDS))
        low, high = float(np.min(self.set_c)), float(np.max(self.set_c))
        if not 20.0 <= low <= high <= 320.0:
            raise UsageError(f"set point {low:g} to {high:g} C: expected 20 to 320 C")

    def draw(self, rng: np.random.Generator, n: int) -> Pit:
        """Return the pit with drawn walls, air speed and air flow, arrays of shape (n,)."""
        kind = KINDS[self.kind]

        def spread(value: Value | None, default: float, log_sd: float) -> Array:
            middle = np.asarray(default if value is None else value)
            return middle * np.exp(log_sd * np.clip(rng.standard_normal(n), -2.5, 2.5))

        return replace(
            self,
            wall_drop_c=spread(self.wall_drop_c, kind.wall_drop_c, 0.35),
            convection=spread(self.convection, kind.convection, 0.10),
            air_kg_h=spread(self.air_kg_h, kind.air_kg_h, 0.25),
        )
