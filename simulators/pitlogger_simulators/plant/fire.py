"""The air, walls and humidity of a pit in time, with everything that disturbs them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pitlogger_simulators.plant.boundary import Boundary
from pitlogger_simulators.plant.pits import KINDS, Pit
from pitlogger_simulators.plant.properties import Array, Mask
from pitlogger_simulators.plant.vapour import (
    STANDARD_PRESSURE_PA,
    humidity_ratio,
    saturation_pa,
)

# All figures here are ours; see pits.py for what they are meant to look like.
_OPEN_SHARE = 0.45  # of the excess over the room that an open pit keeps
_OPEN_S = 70.0
_WALL_S = 900.0
_DAMP_S = 600.0
_FLARE_C, _FLARE_S, _FLARE_RISE_S, _FLARE_FALL_S = 150.0, 360.0, 60.0, 180.0
_REFUEL_AT = 0.06  # of a load
_ROOM_HUMIDITY = 0.5  # relative
_NOTHING_LEFT = 1e-3


@dataclass(slots=True)
class Weather:
    """Outdoors: wind in m/s, rain, room or outdoor temperature."""

    room_c: float = 22.0
    wind_m_s: float = 0.0
    rain: bool = False


class Fire:
    """n pits of one make (one for each cook of a batch), or a single one.

    Attributes:
        air_c: Air at the meat, shape (n,).
        wall_c: Walls, shape (n,).
        humidity_ratio: Of the air, shape (n,).
        set_c: What the cook wants, shape (n,).
    """

    def __init__(
        self, pit: Pit, rng: np.random.Generator, weather: Weather | None = None, n: int = 1
    ) -> None:
        def array(value: object) -> Array:
            return np.broadcast_to(np.asarray(value, float), (n,)).copy()

        kind = self._kind = KINDS[pit.kind]
        room_c = (weather or Weather()).room_c
        self.pit = pit
        self._rng = rng
        self.set_c = array(pit.set_c)
        self.wall_drop_c = array(kind.wall_drop_c if pit.wall_drop_c is None else pit.wall_drop_c)
        self.convection = array(kind.convection if pit.convection is None else pit.convection)
        air_kg_h = kind.air_kg_h if pit.air_kg_h is None else pit.air_kg_h
        self.air_kg_s = array(air_kg_h) / 3600.0
        self.pan_kg_s = array(pit.water_pan_kg_h) / 3600.0
        self._base_c = self.set_c.copy() if pit.hot else array(room_c)
        self._wall_base_c = self._base_c.copy()
        self._strength = array(1.0)
        self._burning = np.ones(n, bool)
        self._noise = kind.noise_c * rng.standard_normal(n)
        self._fuel_s = array(kind.load_s)
        self._lid_s, self._damp_s, self._flare_s = array(0.0), array(0.0), array(0.0)
        self._flare_c = array(0.0)
        self._disturbed = False
        self.air_c = self._base_c + self._noise * float(pit.hot)
        self.wall_c = self._wall_base_c - self.wall_drop_c * float(pit.hot)
        self.humidity_ratio = array(_room_humidity(room_c) + kind.fuel_humidity)

    def boundary(self) -> Boundary:
        """Return what an unwrapped piece in the pit sees, arrays of shape (n,)."""
        return Boundary(self.air_c, self.wall_c, self.humidity_ratio, self.convection)

    def open_lid(self, seconds: float, where: Mask | None = None) -> None:
        """Open the lid for some time."""
        self._lid_s = _put(self._lid_s, np.maximum(self._lid_s, seconds), where)
        self._disturbed = True

    def set_point(self, set_c: float, where: Mask | None = None) -> None:
        """Want another temperature."""
        self.set_c = _put(self.set_c, set_c, where)

    def add_fuel(self, where: Mask | None = None) -> None:
        """Put a full load on; fresh fuel damps the fire for a while."""
        self._fuel_s = _put(self._fuel_s, self._kind.load_s, where)
        self._damp_s = _put(self._damp_s, _DAMP_S, where)
        self._disturbed = True

    def go_out(self, where: Mask | None = None) -> None:
        """Let the fire die."""
        self._burning = self._burning & ~_chosen(where, len(self._burning))

    def relight(self, where: Mask | None = None) -> None:
        """Light it again, with a full load."""
        self._burning = self._burning | _chosen(where, len(self._burning))
        self._fuel_s = _put(self._fuel_s, self._kind.load_s, where)

    def flare_up(self, where: Mask | None = None) -> None:
        """Set the grease on fire."""
        self._flare_s = _put(self._flare_s, _FLARE_S, where)
        self._disturbed = True

    def advance(self, dt_s: float, vapour_kg_s: Array | float, weather: Weather) -> None:
        """Advance by a step; ``vapour_kg_s`` is what all the meat in the pit gives off."""
        kind, room_c = self._kind, weather.room_c
        self._burn(dt_s)
        fuel_c = (2.0 * kind.sag_c / kind.load_s) * self._fuel_s - kind.sag_c
        weather_c = kind.wind_c * weather.wind_m_s + kind.rain_c * weather.rain
        target = room_c + self._strength * (self.set_c + fuel_c - weather_c - room_c)
        # Cold walls make a start slow; behind a closed lid the walls are still hot.
        excess = np.maximum(self.set_c - room_c, 1.0)
        cold = np.minimum(np.maximum((self.set_c - 20.0 - self._wall_base_c) / excess, 0.0), 1.0)
        lag_s = kind.recover_s + (kind.warm_s - kind.recover_s) * cold
        room = _room_humidity(room_c)
        given = np.maximum(vapour_kg_s + self.pan_kg_s, 0.0) / self.air_kg_s
        self.humidity_ratio = room + kind.fuel_humidity * self._strength + given
        if self._disturbed:
            target, lag_s = self._disturb(target, lag_s, room_c, room, dt_s)
        self._base_c = target + (self._base_c - target) * np.exp(-dt_s / lag_s)
        self._swing(dt_s, weather.wind_m_s)
        self.air_c = self._base_c + self._noise * self._strength + self._flare_c
        kept = math.exp(-dt_s / _WALL_S)
        self._wall_base_c = self.air_c + (self._wall_base_c - self.air_c) * kept
        share = np.minimum(np.maximum((self._wall_base_c - room_c) / excess, 0.0), 1.2)
        self.wall_c = self._wall_base_c - self.wall_drop_c * share

    def _burn(self, dt_s: float) -> None:
        # Strength follows whether there is fuel and fire.
        kind = self._kind
        self._fuel_s = np.maximum(self._fuel_s - dt_s, 0.0)
        if self.pit.tended and self._fuel_s.min() < _REFUEL_AT * kind.load_s:
            self.add_fuel(self._burning & (self._fuel_s < _REFUEL_AT * kind.load_s))
        alive = self._burning & (self._fuel_s > 0.0)
        rest = np.where(alive, math.exp(-dt_s / kind.recover_s), math.exp(-dt_s / kind.fade_s))
        self._strength = alive + (self._strength - alive) * rest

    def _disturb(
        self, target_c: Array, lag_s: Array, room_c: float, room_humidity: float, dt_s: float
    ) -> tuple[Array, Array]:
        # An open lid, fresh fuel, burning grease: returns target and lag as they change them.
        target_c = target_c - self._kind.damp_c * (self._damp_s > 0.0)
        is_open = self._lid_s > 0.0
        kept_c = room_c + _OPEN_SHARE * (np.maximum(self._base_c, self.set_c) - room_c)
        # A lid that closes within the step is open for a part of it.
        part = np.minimum(self._lid_s / dt_s, 1.0)
        target_c = target_c + part * (np.minimum(target_c, kept_c) - target_c)
        lag_s = np.where(is_open, 1.0 / (part / _OPEN_S + (1.0 - part) / lag_s), lag_s)
        self.humidity_ratio = np.where(is_open, room_humidity, self.humidity_ratio)
        burning = self._flare_s > 0.0
        flare_c = np.where(burning, _FLARE_C, 0.0)
        flare_lag_s = np.where(burning, _FLARE_RISE_S, _FLARE_FALL_S)
        self._flare_c = flare_c + (self._flare_c - flare_c) * np.exp(-dt_s / flare_lag_s)
        self._lid_s = np.maximum(self._lid_s - dt_s, 0.0)
        self._damp_s = np.maximum(self._damp_s - dt_s, 0.0)
        self._flare_s = np.maximum(self._flare_s - dt_s, 0.0)
        rest = self._lid_s + self._damp_s + self._flare_s + self._flare_c
        self._disturbed = bool(rest.max() > _NOTHING_LEFT)
        if not self._disturbed:
            self._flare_c = np.zeros_like(self._flare_c)
        return target_c, lag_s

    def _swing(self, dt_s: float, wind_m_s: float) -> None:
        # An autoregressive process of first order, exact for any step.
        memory = math.exp(-dt_s / self._kind.noise_s)
        amplitude = self._kind.noise_c * (1.0 + 0.15 * wind_m_s) * math.sqrt(1.0 - memory**2)
        drawn = self._rng.standard_normal(len(self._noise))
        self._noise = memory * self._noise + amplitude * drawn


def _chosen(where: Mask | None, n: int) -> Mask:
    return np.ones(n, bool) if where is None else where


def _put(old: Array, new: Array | float, where: Mask | None) -> Array:
    return np.where(_chosen(where, len(old)), new, old)


@lru_cache(maxsize=64)
def _room_humidity(room_c: float) -> float:
    vapour_pa = _ROOM_HUMIDITY * float(saturation_pa(room_c))
    return humidity_ratio(vapour_pa, STANDARD_PRESSURE_PA)
