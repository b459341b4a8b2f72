"""Scales and probes: what they make of the truth, before it becomes bytes.

An instrument knows no clock and no format. ``advance`` lets time pass, ``sample`` returns
what it would show now: resolution, noise, lag, overload, auto-off, tare and unit button.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import NamedTuple

from pitlogger.model.readings import Quality

OVERLOAD_INTERVALS = 9  # a scale shows up to capacity + 9 e (OIML R 76-1, 4.2.3)


class Sample(NamedTuple):
    """One value: grams, degrees Celsius or percent; ``None`` with a reason in ``quality``."""

    value: float | None
    quality: Quality = Quality.GOOD
    stable: bool | None = None


@dataclass(slots=True)
class Scale:
    """A bench scale.

    Attributes:
        interval_g: Scale interval e.
        settle_s: Time constant of the load cell and its filter.
        auto_off_s: Switches itself off after so long without change; ``None`` for never.
        unit: What it sends: ``kg``, ``g``, ``lb`` or ``oz``. The unit button changes it.
    """

    interval_g: float = 5.0
    capacity_g: float = 30_000.0
    noise_g: float = 0.6
    settle_s: float = 0.5
    auto_off_s: float | None = 300.0
    unit: str = "kg"
    load_g: float = 0.0
    felt_g: float = 0.0
    tare_g: float = 0.0
    is_on: bool = False
    idle_s: float = 0.0

    def put(self, mass_g: float) -> None:
        """Put a load on the platform; that switches the scale on."""
        self.load_g += mass_g
        self.is_on, self.idle_s = True, 0.0

    def lift(self, mass_g: float) -> None:
        """Take a load from the platform."""
        self.load_g = max(0.0, self.load_g - mass_g)
        self.idle_s = 0.0

    def press_on(self) -> None:
        """Switch it on: a scale takes what lies on it then as zero."""
        if not self.is_on:
            self.is_on, self.idle_s = True, 0.0
            self.tare_g, self.felt_g = self.load_g, self.load_g

    def press_tare(self) -> None:
        """Press the tare button: what lies on it now shows as zero."""
        self.tare_g, self.idle_s = self.load_g, 0.0

    def press_unit(self, unit: str) -> None:
        """Press the unit button until it shows ``unit``."""
        self.unit, self.idle_s = unit, 0.0

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        self.felt_g += (self.load_g - self.felt_g) * -math.expm1(-seconds / self.settle_s)
        self.idle_s += seconds
        if self.auto_off_s is not None and self.idle_s > self.auto_off_s:
            self.is_on, self.tare_g = False, 0.0

    def sample(self, rng: random.Random) -> Sample | None:
        """Return what it shows; ``None`` while it is off."""
        if not self.is_on:
            return None
        if self.load_g > self.capacity_g + OVERLOAD_INTERVALS * self.interval_g:
            return Sample(None, Quality.OVERLOAD)
        net_g = self.felt_g - self.tare_g + rng.gauss(0.0, self.noise_g)
        shown_g = round(net_g / self.interval_g) * self.interval_g
        is_moving = abs(self.felt_g - self.load_g) > self.interval_g / 2
        return Sample(shown_g, Quality.GOOD, stable=not is_moving)


@dataclass(slots=True)
class Probe:
    """A temperature probe on a wire.

    Attributes:
        lag_s: Time constant of the sheath (in meat or moving air).
        offset_c: Its own error; an ice bath shows it.
    """

    lag_s: float = 8.0
    noise_c: float = 0.05
    resolution_c: float = 0.1
    offset_c: float = 0.0
    felt_c: float | None = None

    def advance(self, seconds: float, truth_c: float) -> None:
        """Let time pass at a place of that temperature."""
        if self.felt_c is None:
            self.felt_c = truth_c
        self.felt_c += (truth_c - self.felt_c) * -math.expm1(-seconds / self.lag_s)

    def sample(self, rng: random.Random) -> Sample:
        """Return what it shows."""
        if self.felt_c is None:
            return Sample(None, Quality.NO_VALUE)
        value_c = self.felt_c + self.offset_c + rng.gauss(0.0, self.noise_c)
        return Sample(round(value_c / self.resolution_c) * self.resolution_c)
