"""From what was asked to the journal body it becomes."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.commands import named
from pitlogger.engine.scales import only_scale, steady_mg, weighed_on
from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, UsageError
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
from pitlogger.web.requests import ContainerAsk, CorrectAsk, TareAsk, TempAsk, UndoAsk, WeighAsk


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
    at_ms = ask.at or now_ms
    return weighed_on(
        engine, channel, ask.piece, ask.checkpoint, at_ms, ask.tare, ask.container
    )  # fmt: skip


def tared(engine: Engine, ask: TareAsk) -> Tared:
    """Return the tare asked for: typed, or what is steady on the scale now."""
    mass_mg = steady_mg(engine, ask.channel) if ask.mass is None else ask.mass
    return Tared(ask.channel, mass_mg, ask.container)


def container_mg(engine: Engine, ask: ContainerAsk) -> int:
    """Return the mass of an empty container: typed, or what is steady on the scale now."""
    if ask.mass is not None:
        return ask.mass
    return steady_mg(engine, ask.channel or only_scale(engine))


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
