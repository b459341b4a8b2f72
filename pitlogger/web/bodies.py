"""From what was asked to the journal body it becomes."""

from __future__ import annotations

from pitlogger.engine.scales import only_scale, steady_mg, weighed_on
from pitlogger.engine.step import Engine
from pitlogger.errors import UsageError
from pitlogger.model.journal import SpotRead, Tared, Weighed
from pitlogger.model.readings import Site
from pitlogger.web.requests import ContainerAsk, TareAsk, TempAsk, WeighAsk


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
            timed="live" if ask.at is None else "stated",
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
        raise UsageError("a hand reading is of one piece or one site: give either", "piece")
    site = ask.site or Site.SPOT
    return SpotRead(
        ask.value, ask.at or now_ms, piece=ask.piece, site=site, probe=ask.probe,
        timed="live" if ask.at is None else "stated",
    )  # fmt: skip
