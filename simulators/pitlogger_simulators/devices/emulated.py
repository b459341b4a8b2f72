"""An emulated device: at each beat it sends what is due, through its faults."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Any

from pitlogger_simulators.devices.instruments import Sample
from pitlogger_simulators.play import Outlet, Play
from pitlogger_simulators.scenarios.form import DeviceForm

# What a battery loses in an hour; ours.
BATTERY_PCT_PER_H = 0.4
_HOUR_MS = 3_600_000


class Emulated(ABC):
    """One device of a play. ``beat`` is called by whoever keeps the time."""

    driver: str

    def __init__(self, play: Play, table: DeviceForm) -> None:
        self.play = play
        self.table = table
        self.is_linked = True
        self.lost_tries: frozenset[str] = frozenset()

    @property
    def outlets(self) -> list[Outlet]:
        """Its channels."""
        return [o for o in self.play.outlets.values() if o.device == self.table.id]

    def beat(self) -> None:
        """Send what is due, if the link stands."""
        play = self.play
        radio = play.is_bluetooth(self.table.id)
        linked = play.faults.is_in_reach(self.table.id, play.now_ms, radio)
        if linked != self.is_linked:
            self.is_linked = linked
            self.link(linked)
        if not linked:
            return
        lost_tries = play.faults.lost_tries(self.table.id, play.now_ms)
        if lost_tries != self.lost_tries:
            self.lost_tries = lost_tries
            self.lose_tries(lost_tries)
        due = [outlet for outlet in self.outlets if outlet.next_ms <= play.now_ms]
        for outlet in due:
            outlet.next_ms = play.now_ms + outlet.interval_ms
        due = [o for o in due if play.faults.delivers(o.channel, self.table.id, play.now_ms)]
        if due:
            self.send(due)

    def samples(self, due: Sequence[Outlet]) -> dict[str, Sample]:
        """Return what the instruments show; those that are off are left out."""
        shown = {outlet.channel: self.play.sample(outlet.channel) for outlet in due}
        return {channel: sample for channel, sample in shown.items() if sample is not None}

    def battery_pct(self) -> float:
        """Return the level of the battery now."""
        hours = (self.play.now_ms - self.play.scenario.start_ms) / _HOUR_MS
        level = self.table.battery_pct - BATTERY_PCT_PER_H * hours
        return self.play.faults.battery_pct(self.table.id, self.play.now_ms, max(0.0, level))

    @abstractmethod
    def send(self, due: Sequence[Outlet]) -> None:
        """Send frames of the channels that are due."""

    @abstractmethod
    def link(self, up: bool) -> None:
        """Lose the link or take it up again."""

    def lose_tries(self, steps: frozenset[str]) -> None:
        """Lose the link, and from now on each try at these steps; none lets all go well.

        Only for links with steps of their own, see ``form.STEPS_OF``.
        """
        raise NotImplementedError

    @abstractmethod
    def keys(self) -> dict[str, Any]:
        """Return the driver's own keys for the configuration."""

    @abstractmethod
    def channel_name(self, channel: str) -> str:
        """Return the driver's name for a channel."""

    @abstractmethod
    def close(self) -> None:
        """Leave nothing behind."""
