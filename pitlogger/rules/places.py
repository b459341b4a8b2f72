"""Which limits apply to a channel that is no core: pit, cold place, battery.

A pit is watched only while something is on it, and only once its band was first met, or 90
minutes after it was first heard: a fire that is being lit is not too cold.
"""

from __future__ import annotations

from pitlogger.model.book import Book
from pitlogger.model.cooks import BEFORE_FIRE, Channel
from pitlogger.model.quantities import Quantity, milli_c_from_fahrenheit
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import ABOVE, BELOW, Limit
from pitlogger.rules.policies import RulePolicy

START_UP_MS = 90 * 60_000
BATTERY_LOW = 15_000  # milli-percent; ours
FLARE_OVER_BAND_MC = 40_000  # above the band's top; ours
FLARE_MC = milli_c_from_fahrenheit(450.0)  # where no band is given; ours


def channel_limits(
    channel: Channel, quantity: Quantity, book: Book, policy: RulePolicy, armed: bool, cold_mc: int
) -> list[Limit]:
    """Return the limits of a channel as it sits now.

    Args:
        armed: Whether a pit has met its band, or has had time to.
        cold_mc: Cold-holding limit of the food-safety policy.
    """
    rules = policy.rules

    def limit(kind: str, at: int, side: int) -> Limit:
        return Limit(f"{kind}/{channel.id}", rules[kind], at, side, channel=channel.id)

    if quantity is Quantity.BATTERY:
        return [limit("battery-low", BATTERY_LOW, BELOW)]
    if book.finished_ms is not None or quantity is not Quantity.TEMPERATURE:
        return []
    if channel.site is Site.COLD:
        return [limit("cold-hold-high", cold_mc + 1, ABOVE)]
    if channel.site is not Site.PIT or not is_in_use(channel.id, book):
        return []
    flare_mc = FLARE_MC if channel.high_mc is None else channel.high_mc + FLARE_OVER_BAND_MC
    limits = [limit("flare-up", max(flare_mc, milli_c_from_fahrenheit(350.0)), ABOVE)]
    if armed and channel.low_mc is not None:
        limits.append(limit("pit-low", channel.low_mc, BELOW))
    if armed and channel.high_mc is not None:
        limits.append(limit("pit-high", channel.high_mc + 1, ABOVE))
    return limits


def is_in_use(pit: str, book: Book) -> bool:
    """Return whether a piece sits on a pit, or may.

    One whose stages nobody has set, and one that looks as if it were off the pit: what is
    recognised ends no alarm of the pit before a person agrees.
    """
    for held in book.pieces.values():
        mine = held.piece.pit in (None, pit)
        unmarked = held.stage in BEFORE_FIRE and not held.marks
        if mine and held.is_open and (held.may_be_on_pit or unmarked):
            return True
    return not book.pieces and book.cook is not None
