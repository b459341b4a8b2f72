"""What the engine compiles from its book: a lane for each channel, the limits of all.

Rebuilt whenever the book changes; pure, but for channels it meets for the first time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.engine.compiled_channel import Lane, build_lane
from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Limit
from pitlogger.rules.places import channel_limits
from pitlogger.rules.policies import RulePolicy
from pitlogger.rules.targets import piece_limits


@dataclass(slots=True)
class Compiled:
    """Lanes by channel, limits by piece and by channel."""

    lanes: dict[str, Lane] = field(default_factory=dict)
    pieces: dict[str, list[Limit]] = field(default_factory=dict)
    channels: dict[str, list[Limit]] = field(default_factory=dict)

    def limits(self) -> list[Limit]:
        """Return all limits."""
        held = (*self.pieces.values(), *self.channels.values())
        return [limit for limits in held for limit in limits]


def compiled(
    state: EngineState, book: Book, policy: RulePolicy, known: dict[str, Channel], cold_mc: int
) -> Compiled:
    """Return the lanes and limits of a book.

    Args:
        state: Channels the book names and the state does not know are added to it.
        known: Channels of the configuration.
        cold_mc: Cold-holding limit of the food-safety policy.
    """
    for channel in book.channels:
        state.channels.setdefault(channel, ChannelState(channel))
    made = Compiled(
        lanes={held.id: build_lane(held, book, known) for held in state.channels.values()},
        pieces={
            piece: piece_limits(book, held, policy, state.watches)
            for piece, held in book.pieces.items()
        },
    )
    for lane in made.lanes.values():
        own = _of_channel(lane, book, policy, known, cold_mc)
        made.channels[lane.state.id] = own
        lane.limits = own + [
            limit
            for limit in made.pieces.get(lane.piece or "", [])
            if limit.channel == lane.state.id or (limit.channel is None and lane.site is Site.CORE)
        ]
    return made


def _of_channel(
    lane: Lane, book: Book, policy: RulePolicy, known: dict[str, Channel], cold_mc: int
) -> list[Limit]:
    """Return the limits of a channel that is no core."""
    assignment = book.assignment(lane.state.id)
    placed = known.get(lane.state.id) if assignment is None else assignment.channel
    if placed is None:
        return []
    return channel_limits(placed, lane.quantity, book, policy, lane.state.armed, cold_mc)
