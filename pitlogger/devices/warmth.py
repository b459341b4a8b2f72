"""Which probe is in the hand: the one whose temperature rises while the others stay."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.devices.contract import Measurement, milli_units
from pitlogger.model.quantities import Quantity

# Ours: a hand lifts a probe by a degree within seconds; a room does not.
RISE_MC = 1000
LEAD = 2.0


@dataclass(slots=True)
class Warmth:
    """Follows the temperatures of one device since the start of a trial."""

    lowest_mc: dict[str, int] = field(default_factory=dict)
    latest_mc: dict[str, int] = field(default_factory=dict)

    def take(self, found: Measurement) -> None:
        """Take a reading; other quantities and missing values are passed over."""
        if found.quantity is not Quantity.TEMPERATURE or found.value is None:
            return
        value_mc = milli_units(found.value, found.unit)
        self.latest_mc[found.channel] = value_mc
        self.lowest_mc[found.channel] = min(value_mc, self.lowest_mc.get(found.channel, value_mc))

    def warmed(self) -> str | None:
        """Return the channel that rises clearly more than all others, if one does."""
        rises = sorted(
            ((self.latest_mc[name] - self.lowest_mc[name], name) for name in self.latest_mc),
            reverse=True,
        )
        if not rises or rises[0][0] < RISE_MC:
            return None
        if len(rises) > 1 and rises[0][0] < LEAD * max(rises[1][0], 1):
            return None
        return rises[0][1]
