"""From the engine's state to a forecast's question, and from its answer to an entry."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.inputs import ForecastMemory, ForecastRequest, ForecastResult
from pitlogger.engine.state import ChannelState
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.holding import minutes
from pitlogger.forecast.request import Answer, Request, Series
from pitlogger.model.cooks import NEVER, ON_PIT, Stage, Wrap
from pitlogger.model.journal import ForecastMade
from pitlogger.model.readings import Site

FULL_EVERY_S = 1800.0
LEAST_SCORED_C = 65.0  # a piece that was taken off colder teaches nothing of a finish


def question(engine: Engine, asked: ForecastRequest) -> Request:
    """Return the question as values that no later step changes."""
    book, policy = engine.book, engine.policy
    held = book.pieces[asked.piece]
    piece = held.piece
    (lead, *others), by_hand = _cores(engine, asked.piece)
    wrap_at_mc = policy.wrap_at_mc(piece)
    pulled_ms = held.first(Stage.RESTING)
    pull_at_mc = policy.pull_at_mc(piece)
    rest_mc = pull_at_mc if pulled_ms is None else policy.rest_until_mc
    target_mc = {"wrap": wrap_at_mc, "pull": pull_at_mc, "rest": rest_mc}[asked.target]
    now_s = asked.requested_ms / 1000
    memory = engine.state.forecasts.get(asked.of, ForecastMemory())
    carried = memory.carried
    on_pit_ms = held.first(Stage.SMOKING)
    wrapped_ms = held.first(Stage.WRAPPED)
    mass_mg = held.net_mg("on-pit") or held.net_mg("seasoned") or held.net_mg("trimmed")
    mass_mg = mass_mg or piece.mass_mg
    pit = _pit(engine, asked.piece)
    set_point = None if pit is None else book.assignment(pit.id)
    plan: Wrap | None = "none" if piece.wrap_at_mc == NEVER else policy.wrap_kind(piece)
    return Request(
        piece=asked.piece,
        target=asked.target,
        target_c=(target_mc or 0) / 1000,
        now_s=now_s,
        core=lead,
        by_hand=by_hand,
        pit=Series() if pit is None else minutes(pit),
        on_pit_s=None if on_pit_ms is None else on_pit_ms / 1000,
        set_point_c=_c(None if set_point is None else set_point.channel.set_point_mc),
        mass_g=None if mass_mg is None else mass_mg / 1000,
        thickness_mm=piece.thickness_mm,
        family=piece.family,
        wrap=held.wrap,
        wrapped_s=None if wrapped_ms is None or held.wrap is None else wrapped_ms / 1000,
        wrap_plan=plan,
        wrap_at_c=_c(wrap_at_mc),
        others=tuple(others),
        local=engine.state.taught,
        rest_s=policy.kitchen.rest_ms / 1000,
        pulled_s=None if pulled_ms is None else pulled_ms / 1000,
        full=carried is None or now_s - carried.made_s >= FULL_EVERY_S,
        carried=carried,
        previous=memory.basis,
    )


def _cores(engine: Engine, piece: str) -> tuple[list[Series], bool]:
    """Return the cores of a piece, the one to go by first, and whether it was read by hand.

    Where the lead is silent the next one speaks; where no probe does, the hand readings since.
    """
    cores = [engine.state.channels[core] for core in engine.book.cores(piece)]
    cores.sort(key=lambda core: not core.valid())
    series = [minutes(core) for core in cores]
    lead = series[0] if series else Series()
    last_s = lead.t_s[-1] if len(lead.t_s) else 0.0
    on_pit_ms = engine.book.pieces[piece].first(Stage.SMOKING)
    hand = [
        (spot.at_ms / 1000, spot.value_mc / 1000)
        for spot in engine.book.hand_readings(piece)
        if spot.at_ms > 1000 * last_s and (on_pit_ms is None or spot.at_ms >= on_pit_ms)
    ]
    if not hand or any(core.valid() for core in cores):
        return series or [lead], False
    t_s, value_c = zip(*hand, strict=True)
    return [Series((*lead.t_s, *t_s), (*lead.value_c, *value_c)), *series[1:]], True


def finished(engine: Engine, cook: str) -> list[tuple[Request, float]]:
    """Return what could have been asked of each piece of a cook, and when that came true.

    Many a piece is taken off by feel, under or over its target: the temperature that counts
    is the hottest it came to on the pit, at most its target.
    """
    found = []
    for piece, held in engine.book.only(cook).pieces.items():
        cores = engine.book.cores(piece)
        lead = engine.state.channels.get(cores[0]) if cores else None
        if lead is None or held.first(Stage.SMOKING) is None or held.untaught:
            continue
        on_it = [span for span in held.spans() if span.stage in ON_PIT]
        off_ms = on_it[-1].to_ms or engine.state.t_ms
        target_mc = engine.policy.pull_at_mc(held.piece)
        on_pit = [
            (t_ms, mc)
            for t_ms, mc in zip(lead.minutes_ms, lead.minutes_mc, strict=True)
            if t_ms <= off_ms
        ]
        hottest_mc = max((mc for _, mc in on_pit), default=0)
        came_to_mc = hottest_mc if target_mc is None else min(hottest_mc, target_mc)
        if came_to_mc < LEAST_SCORED_C * 1000:
            continue
        reached_ms = next(t_ms for t_ms, mc in on_pit if mc >= came_to_mc)
        request = question(engine, ForecastRequest(piece, "pull", off_ms, off_ms))
        as_was = replace(
            request, target_c=came_to_mc / 1000, others=(), local=(), carried=None, previous=None
        )
        found.append((as_was, reached_ms / 1000))
    return found


def result(asked: ForecastRequest, answer: Answer) -> ForecastResult:
    """Return the answer as the input that takes effect when it is due."""
    made = ForecastMade(
        piece=asked.piece,
        target=asked.target,
        p10_ms=_at(asked, answer.p10_s),
        p50_ms=_at(asked, answer.p50_s),
        p90_ms=_at(asked, answer.p90_s),
        p_reach=round(answer.p_reach, 4),
        widened=answer.widened,
        requested_ms=asked.requested_ms,
        reason=answer.reason or answer.change,
    )
    return ForecastResult(asked.due_ms, made, ForecastMemory(answer.carried, answer.basis))


def _at(asked: ForecastRequest, after_s: int | None) -> int | None:
    return None if after_s is None else asked.requested_ms + after_s * 1000


def _c(milli_c: int | None) -> float | None:
    return None if milli_c is None else milli_c / 1000


def _pit(engine: Engine, piece: str) -> ChannelState | None:
    """Return the pit channel of a piece: the one it names, else the only one there is."""
    named = engine.book.pieces[piece].piece.pit
    pits = [lane.state for lane in engine.lanes.values() if lane.site is Site.PIT]
    for state in pits:
        if state.id == named:
            return state
    return pits[0] if len(pits) == 1 else None
