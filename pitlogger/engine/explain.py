"""What is watched now, on what and why: limits, timers, and the clocks of food safety."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pitlogger.engine.step import Engine
from pitlogger.engine.watch.routines import timers
from pitlogger.errors import UsageError, unknown
from pitlogger.model.readings import Site
from pitlogger.rules.conditions import Limit
from pitlogger.rules.policies import AlertRule


def watched(engine: Engine, piece: str | None = None) -> list[dict[str, Any]]:
    """Return each limit, timer and clock in force, and how its alert stands.

    Args:
        piece: Of this piece alone, with the pit it sits in.

    Raises:
        UsageError: No such piece.
    """
    if piece is not None and piece not in engine.book.pieces:
        raise UsageError(unknown("piece", piece, engine.book.pieces))
    places = None if piece is None else _places(engine, piece)
    return [
        *(
            _limit_row(engine, limit)
            for limit in engine.compiled.limits()
            if piece is None or limit.piece == piece or limit.channel in (places or ())
        ),
        *_timer_rows(engine, piece, places),
        *_clock_rows(engine, piece),
    ]


def _places(engine: Engine, piece: str) -> frozenset[str]:
    """Return the pit of a piece, else all pits, and the places it is held in."""
    named = engine.book.pieces[piece].piece.pit
    return frozenset(
        lane.state.id
        for lane in engine.lanes.values()
        if (lane.site is Site.PIT and named in (None, lane.state.id))
        or (lane.piece == piece and lane.site is not Site.CORE)
    )


def _row(engine: Engine, key: str, rule: AlertRule) -> dict[str, Any]:
    watch = engine.state.watches.get(key)
    return {
        "alert": key,
        "kind": rule.kind,
        "piece": None,
        "judged_on": "",
        "side": None,
        "limit_c": None,
        "every_s": None,
        "remaining_s": None,
        "on_delay_s": rule.on_delay_ms / 1000,
        "deadband_c": rule.deadband_mc / 1000,
        "priority": rule.priority.label,
        "wakes": rule.wakes,
        "state": "normal" if watch is None else watch.state.value,
        "cause": rule.cause,
        "remedy": rule.remedy,
        "source": rule.source or "ours",
    }


def _limit_row(engine: Engine, limit: Limit) -> dict[str, Any]:
    return _row(engine, limit.key, limit.rule) | {
        "piece": limit.piece,
        "judged_on": limit.channel or "the coldest valid core",
        "side": "at or above" if limit.side > 0 else "below",
        "limit_c": limit.limit / 1000,
    }


def _timer_rows(
    engine: Engine, piece: str | None, places: frozenset[str] | None
) -> Iterator[dict[str, Any]]:
    for timer, every_ms, subject, since_ms in timers(engine.policy, engine.book, engine.lanes):
        if piece is not None and subject != piece and subject not in (places or ()):
            continue
        key = f"check-due/{subject}@{timer.name}"
        due_ms = engine.state.routines.get(key, since_ms + (timer.first_ms or every_ms))
        yield _row(engine, key, engine.policy.rules["check-due"]) | {
            "piece": subject if timer.on == "piece" else None,
            "judged_on": f"the {timer.name} timer of {subject}",
            "every_s": every_ms / 1000,
            "remaining_s": (due_ms - engine.state.t_ms) / 1000,
            "cause": timer.cause,
            "remedy": timer.remedy,
            "source": timer.source,
        }


def _clock_rows(engine: Engine, piece: str | None) -> Iterator[dict[str, Any]]:
    for name, clocks in engine.state.clocks.items():
        if piece not in (None, name) or name not in engine.book.pieces:
            continue
        unsaid = engine.book.pieces[name].is_unsaid
        for told in clocks.told(engine.state.t_ms, engine.safety, unsaid=unsaid):
            rule = engine.policy.rules[told.kind]
            if f"{told.kind}/{name}" in {limit.key for limit in engine.compiled.limits()}:
                continue
            yield _row(engine, f"{told.kind}/{name}", rule) | {
                "piece": name,
                "judged_on": f"the clock of {name}: {told.message}",
                "remaining_s": told.remaining_s,
                "source": told.source,
            }
