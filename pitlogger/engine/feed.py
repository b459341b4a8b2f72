"""Feed: hands inputs to an engine with every whole second of engine time between them.

Live, replay and test all go through here, which is why they give the same journal.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.engine.inputs import Command, Input, Output, Tick
from pitlogger.engine.step import Engine

SECOND_MS = 1000


def ticks_until(engine: Engine, t_ms: int) -> Iterator[tuple[Output, ...]]:
    """Step the engine through the whole seconds up to ``t_ms``; yield what follows of each.

    Seconds in which nothing is due are passed over: a tick then changes nothing.
    """
    state = engine.state
    last_ms = t_ms // SECOND_MS * SECOND_MS
    if state.tick_ms is None:
        state.tick_ms = last_ms
        return
    while True:
        due_ms = engine.next_due_ms()
        tick_ms = state.tick_ms + SECOND_MS
        if due_ms is None or due_ms > tick_ms:
            whole_ms = last_ms if due_ms is None else -(-due_ms // SECOND_MS) * SECOND_MS
            tick_ms = max(tick_ms, whole_ms)
        if tick_ms > last_ms:
            if state.tick_ms < last_ms:
                engine.step(Tick(last_ms))
            return
        out = engine.step(Tick(tick_ms))
        if out:
            yield out
        for body in engine.recognised():
            yield engine.step(Command(tick_ms, body))


def feed(engine: Engine, given: Input) -> Iterator[tuple[Output, ...]]:
    """Step the engine to the time of an input, then hand it in; yield what follows of each.

    Raises:
        UsageError: A command that cannot be used; nothing was changed.
        RefusedError: A command that is refused as things stand; nothing was changed.
    """
    yield from ticks_until(engine, given.t_ms)
    out = engine.step(given)
    if out:
        yield out
