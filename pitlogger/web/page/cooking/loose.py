"""Weighing without a cook on the page: kept for later, then given to a piece."""

from __future__ import annotations

import asyncio
import secrets
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.errors import UsageError
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.access.roles import who_asks
from pitlogger.web.actions import decide
from pitlogger.web.loose_weights import LooseWeight, keep_loose, list_loose, loose_weights
from pitlogger.web.page.asked_first import body_of, refuse_nothing, weigh_once
from pitlogger.web.page.forms import filled
from pitlogger.web.page.view import action_view
from pitlogger.web.requests import UndoAsk, WeighAsk

NOT_YET = "-"  # stands for the piece and the checkpoint that are not known yet


def waiting_weights(daemon: Node, shown: Shown) -> list[dict[str, str]]:
    """Return the weights that wait for a piece, as the screen shows them."""
    return [
        {
            "id": one.id,
            "mass": shown.mass(one.net_mg),
            "at": shown.clock(one.at_ms - shown.utc_offset_ms),
            "note": one.note,
            "by": one.by,
        }
        for one in loose_weights(daemon).values()
    ]


async def keep(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Keep what lies on the scale, or what is typed, until there is a piece for it."""
    given = {name: text for name, text in form.items() if name != "note"}
    utc_ms, by = daemon.clock.utc_ms(), who_asks.get().initials
    ask = filled(WeighAsk, {**given, "piece": NOT_YET, "checkpoint": NOT_YET}, utc_ms, by)
    at_ms = utc_ms if ask.at is None else ask.at
    refuse_nothing(daemon, ask)
    mass_mg = body_of(daemon, ask).net_mg
    key = ask.key or secrets.token_urlsafe(12)
    one = LooseWeight(key, mass_mg, at_ms, form.get("note", "")[:60], ask.by)
    made = await asyncio.to_thread(keep_loose, daemon, one)
    return {
        "said": f"{shown.mass(made.net_mg)} is kept for later.",
        "undo": {"action": "loose-drop", "fields": {"id": made.id}},
    }


async def drop(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Take a weight off the list."""
    made = await asyncio.to_thread(list_loose, daemon, form.get("id", ""), on_list=False)
    return {
        "said": f"{shown.mass(made.net_mg)} is off the list.",
        "undo": {"action": "loose-restore", "fields": {"id": made.id}},
    }


async def restore(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Put a weight back on the list, and take back the weighing it became, if one is named."""
    if form.get("run") and form.get("seq"):
        fields = {name: text for name, text in form.items() if name in ("run", "seq", "key")}
        by = who_asks.get().initials
        await decide(daemon, "undo", filled(UndoAsk, fields, daemon.clock.utc_ms(), by))
    made = await asyncio.to_thread(list_loose, daemon, form.get("id", ""), on_list=True)
    return {"said": f"{shown.mass(made.net_mg)} is on the list again."}


async def give(daemon: Node, form: dict[str, str], shown: Shown) -> dict[str, Any]:
    """Give a weight to a piece at a checkpoint, with the time at which it was weighed."""
    one = loose_weights(daemon).get(form.get("id", ""))
    given = {name: text for name, text in form.items() if name not in ("id", "late_s")}
    by = who_asks.get().initials
    if one is None and await daemon.earlier(form.get("key", "")) is None:
        raise UsageError("that weight was given or dropped meanwhile: look at the screen again")
    if one is not None:
        given |= {"mass": f"{one.net_mg / 1000:.3f} g", "at": rfc3339(one.at_ms)}
        by = one.by or by
    ask = filled(WeighAsk, given, daemon.clock.utc_ms(), by)
    outcome = action_view(daemon, await weigh_once(daemon, ask, shown), shown)
    await asyncio.to_thread(list_loose, daemon, form["id"], on_list=False)
    back = {"id": form["id"], "run": str(outcome["run"]), "seq": str(outcome["seq"])}
    return {**outcome, "undo": {"action": "loose-restore", "fields": back}}


LOOSE = {"loose": keep, "loose-drop": drop, "loose-restore": restore, "loose-give": give}
