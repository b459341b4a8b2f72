"""The scales of a running engine: what lies steady on them, and the weighing it becomes."""

from __future__ import annotations

from pitlogger.engine.step import Engine
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.journal import Weighed
from pitlogger.model.readings import Site


def scales(engine: Engine) -> list[str]:
    """Return the scale channels."""
    return [channel for channel, lane in engine.lanes.items() if lane.site is Site.BENCH]


def only_scale(engine: Engine) -> str:
    """Return the scale, where there is just one.

    Raises:
        UsageError: There is none, or there are several.
    """
    found = scales(engine)
    if len(found) == 1:
        return found[0]
    if not found:
        raise UsageError("no scale is connected: type the mass, such as 13 lb 7 oz")
    raise UsageError(f"there are several scales: name one of {', '.join(found)}")


def steady_mg(engine: Engine, channel: str) -> int:
    """Return the steady gross mass on a scale.

    Raises:
        UsageError: No such scale.
        RefusedError: It is silent, or not steady.
    """
    state = engine.state.channels.get(channel)
    if state is None:
        raise UsageError(unknown("scale", channel, scales(engine)))
    if state.stale or state.value is None:
        raise RefusedError(f"'{channel}' is silent: switch it on, or type the mass")
    if state.steadiness.steady_mg is None:
        raise RefusedError(f"'{channel}' is not steady yet: wait until the load rests")
    return state.steadiness.steady_mg


def weighed_on(
    engine: Engine,
    channel: str,
    piece: str,
    checkpoint: str,
    at_ms: int,
    tare_mg: int | None = None,
    container: str | None = None,
) -> Weighed:
    """Return the weighing of what lies steady on a scale.

    Args:
        tare_mg: A preset tare; ``None`` for the container that was tared.
    """
    held = engine.book.tares.get(channel)
    return Weighed(
        piece,
        checkpoint,
        steady_mg(engine, channel),
        tare_mg if tare_mg is not None else (held.tare_mg if held else 0),
        at_ms,
        source="scale",
        channel=channel,
        interval_mg=engine.state.channels[channel].steadiness.interval_mg,
        container=container or (held.container if held else None),
        preset_tare=tare_mg is not None,
    )
