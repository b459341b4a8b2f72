"""From what was asked to the journal body it becomes."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.commands import named
from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.journal import (
    Body,
    Correctable,
    Corrected,
    Noted,
    SpotRead,
    StageSet,
    Tared,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site
from pitlogger.web.asks import CorrectAsk, TareAsk, TempAsk, UndoAsk, WeighAsk


def weighed(engine: Engine, ask: WeighAsk, now_ms: int) -> Weighed:
    """Return the weighing asked for: the mass typed, or the steady one of a scale.

    Raises:
        UsageError: No such scale, or both or neither of mass and channel.
        RefusedError: The scale is not steady.
    """
    if ask.mass is not None:
        return Weighed(
            ask.piece, ask.checkpoint, ask.mass, ask.tare or 0, ask.at or now_ms,
            channel=ask.channel, container=ask.container, preset_tare=ask.tare is not None,
        )  # fmt: skip
    channel = ask.channel or only_scale(engine)
    held = engine.book.tares.get(channel)
    tare_mg = ask.tare if ask.tare is not None else (held.tare_mg if held else 0)
    return Weighed(
        ask.piece, ask.checkpoint, steady_mg(engine, channel), tare_mg, ask.at or now_ms,
        source="scale", channel=channel,
        interval_mg=engine.state.channels[channel].steadiness.interval_mg,
        container=ask.container or (held.container if held else None),
        preset_tare=ask.tare is not None,
    )  # fmt: skip


def scales(engine: Engine) -> list[str]:
    """Return the scale channels."""
    return [channel for channel, lane in engine.lanes.items() if lane.site is Site.BENCH]


def only_scale(engine: Engine) -> str:
    """Return the scale, where there is just one."""
    found = scales(engine)
    if len(found) == 1:
        return found[0]
    if not found:
        raise UsageError("no scale is connected: type the mass, such as 13 lb 7 oz")
    raise UsageError(f"there are several scales: name one of {', '.join(found)}")


def steady_mg(engine: Engine, channel: str) -> int:
    """Return the steady gross mass on a scale."""
    state = engine.state.channels.get(channel)
    if state is None:
        raise UsageError(unknown("scale", channel, scales(engine)))
    if state.stale or state.value is None:
        raise RefusedError(f"'{channel}' is silent: switch it on, or type the mass")
    if state.steadiness.steady_mg is None:
        raise RefusedError(f"'{channel}' is not steady yet: wait until the load rests")
    return state.steadiness.steady_mg


def tared(engine: Engine, ask: TareAsk) -> Tared:
    """Return the tare asked for: typed, or what is steady on the scale now."""
    mass_mg = steady_mg(engine, ask.channel) if ask.mass is None else ask.mass
    return Tared(ask.channel, mass_mg, ask.container)


def spot_read(ask: TempAsk, now_ms: int) -> SpotRead:
    """Return the hand reading asked for."""
    if (ask.piece is None) == (ask.site is None):
        raise UsageError("a hand reading is of one piece or one site: give either")
    site = ask.site or Site.SPOT
    return SpotRead(ask.value, ask.at or now_ms, piece=ask.piece, site=site, probe=ask.probe)


def run_of(engine: Engine, seq: int) -> str:
    """Return the run of the newest entry with this number in the running cook."""
    for entry in reversed(engine.state.entries):
        if entry.seq == seq:
            return entry.run
    return engine.state.run


def undone(engine: Engine, ask: UndoAsk) -> Undone:
    """Return the undo asked for; without a number, of the last decision of a person."""
    if ask.seq is not None:
        return Undone(ask.run or run_of(engine, ask.seq), ask.seq)
    taken_back = {
        (entry.body.of_run, entry.body.of_seq)
        for entry in engine.state.entries
        if isinstance(entry.body, Undone)
    }
    for entry in reversed(engine.state.entries):
        undoable = not isinstance(entry.body, Undone) and entry.body.kind != "cook-started"
        if undoable and (entry.run, entry.seq) not in taken_back:
            return Undone(entry.run, entry.seq)
    raise RefusedError("there is nothing to undo")


def corrected(engine: Engine, ask: CorrectAsk) -> Corrected:
    """Return the correction asked for: the entry's own body with the fields given changed."""
    run = ask.run or run_of(engine, ask.seq)
    body: Body = named(engine.state.entries, run, ask.seq, "corrected").body
    changed: Correctable
    match body:
        case Weighed():
            changed = replace(
                body,
                gross_mg=body.gross_mg if ask.mass is None else ask.mass,
                tare_mg=body.tare_mg if ask.tare is None else ask.tare,
                checkpoint=ask.checkpoint or body.checkpoint,
                piece=ask.piece or body.piece,
                at_ms=ask.at or body.at_ms,
                source="typed" if ask.mass is not None else body.source,
            )
        case StageSet():
            changed = replace(
                body,
                stage=ask.stage or body.stage,
                piece=ask.piece or body.piece,
                at_ms=ask.at or body.at_ms,
            )
        case SpotRead():
            changed = replace(
                body,
                value_mc=body.value_mc if ask.value is None else ask.value,
                piece=ask.piece or body.piece,
                at_ms=ask.at or body.at_ms,
            )
        case Noted():
            changed = replace(body, text=ask.text or body.text)
        case _:
            raise UsageError(f"entry {ask.seq} ({body.kind}) cannot be corrected: undo it")
    if changed == body:
        raise UsageError(f"entry {ask.seq} stays as it was: say what was wrong")
    return Corrected(run, ask.seq, changed, ask.reason)
