"""Routines: spritz, water pan and fuel, asked for every so often where somebody wants it.

Each is a ``check-due`` of a piece or a pit. Acknowledging it says that it was done, and it
falls due again so long after that; left alone it stays and does not ask again.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import EngineState
from pitlogger.model.alerts import AlertState
from pitlogger.model.book import Book
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.model.readings import Site
from pitlogger.rules.places import is_in_use
from pitlogger.rules.policies import RulePolicy, TimerRule


def run_routines(
    state: EngineState, alerts: Annunciator, policy: RulePolicy, book: Book, lanes: dict[str, Lane],
    t_ms: int,
) -> None:  # fmt: skip
    """Take each timer that runs to its alert; settle those that run no more."""
    running: set[str] = set()
    for timer, every_ms, subject, since_ms in timers(policy, book, lanes):
        key = f"check-due/{subject}@{timer.name}"
        if key in running:
            continue
        running.add(key)
        due_ms = state.routines.setdefault(key, since_ms + (timer.first_ms or every_ms))
        watch = state.watches.get(key)
        if watch is not None and watch.holds and watch.state is AlertState.ACKNOWLEDGED:
            due_ms = state.routines[key] = watch.since_ms + every_ms
        alerts.tell(
            "check-due", f"{subject}@{timer.name}", t_ms, t_ms >= due_ms,
            f"{subject}: {timer.cause}", timer.remedy,
            piece=subject if timer.on == "piece" else None,
            channel=subject if timer.on == "pit" else None,
        )  # fmt: skip
    for key in state.routines.keys() - running:
        del state.routines[key]
        if key in state.watches:
            alerts.condition(key, t_ms, False)


def timers(
    policy: RulePolicy, book: Book, lanes: dict[str, Lane]
) -> Iterator[tuple[TimerRule, int, str, int]]:
    """Yield each timer that runs: how often, what for and since when; a pit's by each cook."""
    for cook, span in book.open_cooks().items():
        own = book.only(cook)
        for timer in policy.timers.values():
            every_ms = policy.timer_every_ms(timer.name, span.cook)
            if every_ms is not None:
                for subject, since_ms in _subjects(timer, own, lanes):
                    yield timer, every_ms, subject, since_ms


def _subjects(timer: TimerRule, book: Book, lanes: dict[str, Lane]) -> Iterator[tuple[str, int]]:
    """Yield what a timer is for now, and since when: bare pieces on a pit, or pits in use."""
    if timer.on == "piece":
        for piece, held in book.pieces.items():
            if held.is_open and held.stage is Stage.SMOKING:
                yield piece, held.stage_since_ms
        return
    on_pit = [held.first(*ON_PIT) for held in book.pieces.values() if held.stage in ON_PIT]
    begun = [at_ms for at_ms in on_pit if at_ms is not None]
    for lane in lanes.values():
        if lane.site is Site.PIT and begun and is_in_use(lane.state.id, book):
            yield lane.state.id, min(begun)
