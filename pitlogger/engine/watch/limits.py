"""Judging: values against the limits compiled for their channel or their piece."""

from __future__ import annotations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled import Compiled
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.engine.watch.cores import SPOT_VALID_MS, all_cores, coldest
from pitlogger.model.book import Book
from pitlogger.model.journal import SpotRead
from pitlogger.model.readings import Quality
from pitlogger.rules.conditions import Limit, inert


class Judging:
    """Judges by ``compiled`` and ``book``, which the engine renews whenever the book changes."""

    def __init__(self, state: EngineState, alerts: Annunciator) -> None:
        self.state = state
        self.alerts = alerts
        self.book = Book()
        self.compiled = Compiled()

    def lane(self, lane: Lane, t_ms: int, doubted: bool = False) -> None:
        """Judge what a channel reads by its limits; by lower ones alone where it is in doubt.

        A doubt takes no alarm away: only targets are not reached on the word of such a probe.
        """
        for limit in lane.limits:
            if not doubted or (limit.side < 0 and limit.channel is None):
                self._judge(limit, t_ms, lane.state)
        self.reband(lane.piece, lane)

    def reband(self, piece: str | None, lane: Lane | None = None) -> None:
        """Find anew in which band the limits of a piece do not move."""
        for other in self.compiled.lanes.values():
            if other is lane or (piece is not None and other.piece == piece):
                other.low, other.high = inert(other.limits, self.state.watches)

    def spot(self, spot: SpotRead, t_ms: int, entry: str = "") -> None:
        """Judge a hand reading: for the lead core's targets and beside the coldest core.

        Args:
            entry: Its entry: what it raises returns when that is taken back.
        """
        piece = spot.piece or ""
        self.place_spot(piece, spot)
        if t_ms - spot.at_ms > SPOT_VALID_MS:
            return  # typed too late to say how it is now
        state = self.state.channels[f"{piece}/spot"]
        for limit in self.compiled.pieces.get(piece, []):
            watch = self.state.watches[limit.key]
            was = watch.holds or watch.pending_ms is not None
            if limit.channel is None:
                self._judge(limit, t_ms, state)
            elif not self._is_heard(limit.channel):
                self.alerts.judge(limit, t_ms, spot.value_mc, state.level)
            if not was and (watch.holds or watch.pending_ms is not None):
                watch.raised_by = entry
        self.reband(piece)

    def place_spot(self, piece: str, spot: SpotRead | None) -> None:
        """Take a hand reading as the one that stands beside the probes, or none."""
        state = self.state.channels.setdefault(f"{piece}/spot", ChannelState(f"{piece}/spot"))
        if spot is None:
            state.value, state.level, state.quality = None, 0.0, Quality.NO_VALUE
            state.heard_ms = state.good_ms = -1
            return
        if state.heard_ms > spot.at_ms:
            return  # an earlier one that was typed later
        state.value = spot.value_mc
        state.level = float(spot.value_mc)
        state.heard_ms = state.good_ms = spot.at_ms
        state.quality = Quality.GOOD

    def _judge(self, limit: Limit, t_ms: int, state: ChannelState) -> None:
        value, level = state.value, state.level
        if limit.channel is None and limit.piece is not None:
            found = coldest(all_cores(self.state, self.book, limit.piece, t_ms))
            if found is None:
                return
            value, level = found
        if value is not None:
            self.alerts.judge(limit, t_ms, value, level)

    def _is_heard(self, channel: str) -> bool:
        state = self.state.channels.get(channel)
        return state is not None and state.valid()
