"""Being heard: each way of being told, with a test of its own."""

from __future__ import annotations

from typing import Any

from pitlogger.notify.trial import SOUNDER, try_ways, way_ids
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown


def heard_screen(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the ways of being told, what each is, and what waits to be sent by it."""
    ways = {way.id: way.kind for way in daemon.config.notify.way}
    waiting = daemon.notifier.waiting()
    return {
        "ways": [
            {"id": one, "kind": ways.get(one, SOUNDER), "waiting": waiting.get(one, 0)}
            for one in way_ids(daemon.config)
        ]
    }


async def try_way(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Send a test message by one way; say what is known of its arrival."""
    way, utc_ms = form.get("way", ""), daemon.clock.utc_ms()
    if way == SOUNDER:
        said = await daemon.notifier.try_sounder() or tr("there is no sounder")
        return {"said": f"{way}: {said}."}
    trial = (await try_ways(daemon.config, (way,), utc_ms))[0]
    failed = "" if trial.arrived else tr("it failed: ")
    only_you = tr("Only you can see whether it reached you.") if trial.arrived else ""
    return {"said": f"{way}: {failed}{trial.said.rstrip('.')}. {only_you}".strip()}


HEARD = {"try-way": try_way}
