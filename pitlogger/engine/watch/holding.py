"""Where cooked food stands and what its air is: the question that holding and cooling answer."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from pitlogger.engine.state import ChannelState
from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import Stage
from pitlogger.model.readings import Site
from pitlogger.safety.cooling import COOLING

if TYPE_CHECKING:
    from pitlogger.engine.compiled_channel import Lane
    from pitlogger.forecast.hold import Holding, Place
    from pitlogger.forecast.request import Series

CABINET_FROM_MC = 50_000  # a box has no heat of its own
_AIR_OF = {
    Stage.HOLDING: Site.HOLD, Stage.IN_TRANSIT: Site.TRANSPORT, Stage.SERVING: Site.LINE,
    **dict.fromkeys(COOLING, Site.COLD),
}  # fmt: skip


def holding(held: PieceBook, core: ChannelState, lanes: Iterable[Lane], t_ms: int) -> Holding:
    """Return a piece that is off the pit at its place, with the air there where it is measured.

    Cooling counts as in shallow pans until its own readings tell: what even those would miss
    is told.
    """
    from pitlogger.forecast.hold import NO_SERIES, Holding

    site = _AIR_OF.get(held.stage)
    around = [lane.state for lane in lanes if lane.site is site and lane.state.valid()]
    air = around[0] if len(around) == 1 else None
    return Holding(
        _place(held.stage, air),
        held.stage_since_ms / 1000,
        t_ms / 1000,
        minutes(core),
        NO_SERIES if air is None else minutes(air),
    )


def minutes(state: ChannelState) -> Series:
    """Return the minutes kept of a channel."""
    from pitlogger.forecast.request import Series

    return Series(
        tuple(t_ms / 1000 for t_ms in state.minutes_ms), tuple(mc / 1000 for mc in state.minutes_mc)
    )


def _place(stage: Stage, air: ChannelState | None) -> Place:
    if stage in COOLING:
        return "shallow-pan"
    if air is not None and air.value is not None and air.value >= CABINET_FROM_MC:
        return "cabinet"
    if stage is Stage.HOLDING:
        return "box"
    return "transport" if stage is Stage.IN_TRANSIT else "counter"
