"""What is not believed of a core, as spans of the journal.

Live clocks leave out what is in doubt as it arises; a record is judged afterwards, by the same
spans and by what was seen later (``safety.belief``).
"""

from __future__ import annotations

from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import ChannelState
from pitlogger.model.journal import ChannelDoubted
from pitlogger.pipeline.neighbours import AFTER_MS, HANDS_MS
from pitlogger.safety.instruments.belief import DoubtReason

SHORT_MS = 60_000  # shorter doubts are no entry: a drop on the probe, a spritz
_WHY = {
    "swapped": DoubtReason.SWAPPED,
    "stuck": DoubtReason.STUCK,
    "drifting": DoubtReason.DRIFTING,
}


def follow_doubt(lane: Lane, t_ms: int) -> list[ChannelDoubted]:
    """Return the entries for a doubt that begins to count or is over."""
    state = lane.state
    now = _doubt(state, t_ms)
    found = []
    if state.told is not None and (now is None or now[0] != state.told[0]):
        found.append(ChannelDoubted(state.id, *state.told, t_ms, lane.piece))
        state.told = None
    if now is not None and state.told is None and t_ms - now[1] >= SHORT_MS:
        state.told = now
        found.append(ChannelDoubted(state.id, *now, None, lane.piece))
    return found


def _doubt(state: ChannelState, t_ms: int) -> tuple[str, int] | None:
    """Return why a probe is not believed, and since when."""
    if state.doubt in _WHY:
        since_ms = state.doubt_ms
        if state.doubt == "swapped":
            since_ms -= AFTER_MS + HANDS_MS
        elif state.doubt == "stuck":
            since_ms = t_ms - state.still.still_ms(t_ms)
        return _WHY[state.doubt].value, since_ms
    if state.air_since_ms is not None:
        return DoubtReason.AIR.value, state.air_since_ms
    return None if state.jumped is None else (DoubtReason.FAST.value, state.jumped[0] + 1)
