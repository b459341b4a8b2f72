"""Restart: bring a state to where it was when the last run ended.

The snapshot is at most ten minutes old. What was journalled and read since is run through
the engine again with its outputs suppressed; then the journal has the last word, for alerts
whose readings were lost. A killed and restarted engine equals one that was never killed, but
for readings lost.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable

from pitlogger.engine.feed import feed
from pitlogger.engine.gaps import UNKNOWN_GAP_MS, Gap
from pitlogger.engine.inputs import Command, ForecastResult, Input
from pitlogger.engine.step import Engine
from pitlogger.errors import PitloggerError
from pitlogger.model import journal
from pitlogger.model.alerts import ACTIVE, AlertState
from pitlogger.model.readings import Reading

_CONCLUDED = (
    journal.AlertChanged,
    journal.ChannelDoubted,
    journal.Doubted,
)  # what the engine itself makes again
_NOT_DECIDED = (
    journal.AlertChanged, journal.Doubted, journal.AlertActed, journal.CheckMade,
    journal.CorrectiveTaken, journal.DeviceChanged, journal.ForecastMade, journal.ForecastScored,
    journal.ForecastSkipped, journal.ForecastTaught, journal.MealTold, journal.RunStarted,
    journal.SignedOff, journal.TroubleChanged,
)  # fmt: skip


def decisions(entries: Iterable[journal.Entry]) -> list[journal.Entry]:
    """Return the entries that a cook's book is folded from."""
    return [entry for entry in entries if not isinstance(entry.body, _NOT_DECIDED)]


def as_inputs(entries: Iterable[journal.Entry]) -> list[Input]:
    """Return the entries that were inputs once, as inputs."""
    inputs: list[Input] = []
    for entry in entries:
        body = entry.body
        if isinstance(body, journal.ForecastMade | journal.ForecastSkipped):
            inputs.append(ForecastResult(entry.t_ms, body))
        elif not isinstance(body, (*_CONCLUDED, journal.RunStarted)) or _is_word(entry):
            inputs.append(
                Command(entry.t_ms, body, entry.by, entry.key, origin=(entry.run, entry.seq))
            )
    return inputs


def _is_word(entry: journal.Entry) -> bool:
    """Return whether an entry is what a person said of a doubt."""
    return isinstance(entry.body, journal.ChannelDoubted) and bool(entry.by)


def catch_up(
    engine: Engine, entries: list[journal.Entry], readings: Iterable[Reading]
) -> list[str]:
    """Run what came after the engine's state through it; return what could not be taken.

    Args:
        entries: The journal since the state was taken, in order.
        readings: Stored readings since then, in order of time.
    """
    refused = []
    engine.state.origins.clear()
    engine.weights.is_catching_up = True
    engine.recognition.is_catching_up = True  # what it took then stands in the journal
    merged = heapq.merge(readings, as_inputs(entries), key=lambda given: given.t_ms)
    for given in merged:
        try:
            for _ in feed(engine, given):
                pass
        except PitloggerError as fault:
            refused.append(str(fault))
    engine.recognition.is_catching_up = engine.weights.is_catching_up = False
    for entry in entries:
        if isinstance(entry.body, journal.AlertChanged):
            _impose(engine, entry.t_ms, entry.body)
        if entry.key:
            engine.state.keys[entry.key] = (entry.run, entry.seq)
    engine.state.origins.clear()  # from here on entries are named as the journal numbers them
    return refused


def _impose(engine: Engine, t_ms: int, changed: journal.AlertChanged) -> None:
    """Let the journal decide on an alert that the readings kept do not explain."""
    watch = engine.alerts.watch(
        changed.alert, changed.alert_kind, piece=changed.piece, channel=changed.channel
    )
    is_retired = changed.now in (AlertState.SUPPRESSED, AlertState.OUT_OF_SERVICE)
    if watch.state is changed.now or watch.since_ms > t_ms or is_retired:
        return
    watch.state, watch.since_ms = changed.now, t_ms
    watch.priority, watch.message, watch.remedy = changed.priority, changed.message, changed.remedy
    watch.value, watch.limit, watch.until_ms = changed.value, changed.limit, changed.until_ms
    if changed.now in (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED):
        watch.holds = True
        watch.raised_ms = t_ms
    elif changed.now not in ACTIVE and changed.now is not AlertState.SHELVED:
        watch.holds = False


def begin_run(engine: Engine, run: str, start_ms: int, gap_is_known: bool = True) -> None:
    """Let a caught-up engine go on as a new run from ``start_ms``.

    Delays and clocks count the time between; silence is counted from now, since nobody
    listened before. Where the time between is not known, the safety clocks take the least
    favourable case: longer than any limit. They are judged again when it is
    (``Lookout.gap_known``).
    """
    state = engine.state
    state.run, state.seq = run, 0
    if not gap_is_known:
        state.gaps.append(Gap(start_ms))
        for clocks in state.clocks.values():
            clocks.let_pass(UNKNOWN_GAP_MS)
    for channel in state.channels.values():
        if channel.heard_ms >= 0 and not channel.id.endswith("/spot"):
            channel.heard_ms = max(channel.heard_ms, start_ms)
    state.tick_ms = max(state.tick_ms or 0, start_ms // 1000 * 1000)
