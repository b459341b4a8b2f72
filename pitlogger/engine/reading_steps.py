"""What a reading passes on its way through the engine, a step each: vet, level, trend, tag."""

from __future__ import annotations

from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import LEVEL_TIME_MS
from pitlogger.model.readings import Quality, Reading, Tagged
from pitlogger.pipeline.vet import JUMP_MC, vet_jump


def vet(lane: Lane, t_ms: int, value: int) -> Quality:
    """Return whether an adjusted value is believable after the channel's last one."""
    if not lane.floor <= value <= lane.ceiling:
        return Quality.OUT_OF_RANGE
    state = lane.state
    last = state.value
    if last is None or not lane.is_temperature or -JUMP_MC <= value - last <= JUMP_MC:
        state.suspect = None
        return Quality.GOOD
    quality = vet_jump(value, last, state.suspect, t_ms - state.good_ms)
    if quality is Quality.GOOD:
        state.suspect, state.level = None, value
    else:
        state.suspect = value
    return quality


def follow_level(lane: Lane, t_ms: int, value: int, gap_ms: int) -> None:
    """Follow a temperature: how long it stood still, and its level with the noise taken out."""
    state = lane.state
    last = state.value
    if value == last:
        state.still.run += 1
    else:
        state.still.change(t_ms, value, value if last is None else last)
    if last is None:
        state.level = value
    else:
        state.level += (value - state.level) * gap_ms / (LEVEL_TIME_MS + gap_ms)


def tag(lane: Lane, reading: Reading, value: int | None, quality: Quality) -> Tagged:
    """Say whose a reading is: its adjusted value, how good it is, its site and piece."""
    channel, t_ms, raw, _, stable = reading
    return Tagged(channel, t_ms, raw, value, quality, lane.site, lane.piece, stable)
