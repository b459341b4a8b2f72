"""What lies on a scale, followed from one steady level to the next.

    up by m              something of mass m was put down
    down by m            what weighed m was taken off, or, of several put down at once, one of m
    down to nothing      all of it

So a tray put down empty and then filled, several pieces put on one tray and one lifted with tongs
each give the mass of what moved. Steps and levels are milligrams.
"""

from __future__ import annotations

from dataclasses import dataclass, field

_SLACK = 3  # scale intervals within which two masses are one: two roundings and a drip
_TRAY, _FILLED_WITHIN_MS, _TRAYS = 0.6, 3 * 60_000, 3
_DRIP = 0.003  # of the mass


@dataclass(slots=True)
class Item:
    """Something that lies on a scale: its mass, and the level and time when it came to rest.

    ``is_named``: it was kept as one weighing, so that it is not several things.
    """

    mass_mg: int
    level_mg: int
    at_ms: int
    is_named: bool = False


@dataclass(slots=True)
class Pile:
    """Items on one scale, the last put down last; plain fields, so that a snapshot is exact."""

    level_mg: int = 0
    items: list[Item] = field(default_factory=list)
    trays_mg: list[int] = field(default_factory=list)  # what something was put on, the last ones

    def carries(self, under: Item, item: Item) -> bool:
        """Take note of a tray: what something far heavier is put on soon after; tell whether."""
        is_tray = (
            not under.is_named
            and under.mass_mg < _TRAY * item.mass_mg
            and item.at_ms - under.at_ms <= _FILLED_WITHIN_MS
        )
        if is_tray:
            self.trays_mg[:] = [*self.trays_mg, under.mass_mg][-_TRAYS:]
        return is_tray

    def settle(self, level_mg: int, interval_mg: int, t_ms: int) -> Item | None:
        """Take a steady level and return what was put down or picked out of more, if anything."""
        step_mg, slack_mg = level_mg - self.level_mg, _SLACK * interval_mg
        if abs(level_mg) <= slack_mg:
            self.level_mg = level_mg
            self.items.clear()
            return None
        if abs(step_mg) <= slack_mg:
            return None
        self.level_mg = level_mg
        if level_mg < 0:  # the scale was zeroed under a load that is gone now
            self.items.clear()
            return None
        if step_mg > 0:
            self.items.append(Item(step_mg, level_mg, t_ms))
            return self.items[-1]
        return self._taken(-step_mg, slack_mg, t_ms)

    def _taken(self, mass_mg: int, slack_mg: int, t_ms: int) -> Item | None:
        """Take off the one item of that mass; else what was lifted is one of several."""
        slack_mg += round(_DRIP * mass_mg)
        same = [item for item in self.items if abs(item.mass_mg - mass_mg) <= slack_mg]
        if same:
            self.items.remove(same[-1])
            return None
        if any(item.is_named for item in self.items):  # one thing was exchanged for another
            self.items[:] = [Item(self.level_mg, self.level_mg, t_ms)]
            return self.items[0]
        whole = next((item for item in reversed(self.items) if item.mass_mg > mass_mg), None)
        if whole is None:
            return None  # several at once: nothing is learnt of each
        whole.mass_mg -= mass_mg
        return Item(mass_mg, self.level_mg + mass_mg, t_ms)
