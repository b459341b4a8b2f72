"""One screen as answered: its template with what every screen has."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertActed, ChannelDoubted, CookStarted, Entry, Weighed
from pitlogger.views.alerts import active
from pitlogger.views.doubts import as_read
from pitlogger.views.entries import is_undoable, told
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, units_chosen
from pitlogger.web.access.gate import POLICY
from pitlogger.web.access.roles import Role, who_asks
from pitlogger.web.page.cooking.alarm_groups import grouped
from pitlogger.web.page.cooking.alarms import alert
from pitlogger.web.page.plain_words import plain
from pitlogger.web.page.render import render
from pitlogger.web.page.statics import load_statics
from pitlogger.yields.doubted import doubts_of

SHEET = "sheet"  # the cookie by which a browser says which style sheet it has kept


def shown_to(daemon: Node, request: Request) -> Shown:
    """Return how values are shown to who asks."""
    units = units_chosen(request.cookies, daemon.units)
    return Shown(units, daemon.clock.engine_ms(), daemon.utc_offset_ms)


def screen(
    daemon: Node, request: Request, template: str, values: dict[str, Any], status: int = 200
) -> HTMLResponse:
    """Return a screen with what every screen has: the strip, the navigation, what was said."""
    shown, statics = shown_to(daemon, request), load_statics()
    is_first = request.cookies.get(SHEET) != statics.version
    text = render(
        template,
        sheet=statics.sheet() if is_first else "",
        path=request.url.path,
        node=daemon.config.node.name,
        strip=strip_of(daemon, shown),
        shown=shown,
        cook_name=running_cook(daemon),
        me=who_asks.get(),
        may=may_act(),
        count=len(active(daemon, "alarm")),
        trouble=_trouble(daemon),
        did=_did(daemon, request, shown),
        **values,
    )
    headers = {"Cache-Control": "no-store"}
    if is_first:
        source = f"style-src 'self' {statics.sheet_source()}"
        headers["Content-Security-Policy"] = f"{POLICY}; {source}"
    return HTMLResponse(text, status, headers)


def _trouble(daemon: Node) -> str:
    """Return what keeps the record from being written, and what to do; empty if nothing."""
    found = daemon.trouble
    return "" if found is None else f"{plain(found.message)} {plain(found.remedy)}"


def strip_of(daemon: Node, shown: Shown) -> dict[str, Any] | None:
    """Return the strip of every screen: the first cause and how many more, ``None`` for none."""
    watches = active(daemon, "alarm")
    seen = [alert(daemon, watch, shown) for watch in watches]
    groups = grouped(daemon, watches, seen, shown)["groups"]
    if not groups:
        return None
    first = groups[0]
    alone = len(first["alerts"]) == 1
    return {
        "message": (first["alerts"][0]["message"] if alone else first["title"]).rstrip("."),
        "letter": first["letter"],
        "more": len(groups) - 1,
        "waits": bool(first["unseen"]),
    }


def may_act() -> bool:
    """Return whether this phone may do more than look."""
    role = who_asks.get().role
    return role is not None and role >= Role.HANDS


def running_cook(daemon: Node) -> str:
    """Return the name of the open cook, or of each, empty without one."""
    book = daemon.engine.book
    return " + ".join(span.cook.name for span in book.open_cooks().values())


def refused(daemon: Node, request: Request, message: str, back: str, status: int) -> HTMLResponse:
    """Return the screen that says why something was not done."""
    return screen(
        daemon, request, "refused.html", {"message": plain(message), "back": back}, status
    )


def _did(daemon: Node, request: Request, shown: Shown) -> dict[str, Any] | None:
    """Return what the entry named in the address said, for a browser without script."""
    run, _, seq = request.query_params.get("did", "").partition(".")
    for entry in reversed(daemon.engine.state.entries):
        if entry.run == run and str(entry.seq) == seq:
            return action_view(daemon, entry, shown)
    return None


def action_view(daemon: Node, entry: Entry, shown: Shown) -> dict[str, Any]:
    """Return what was done, worded for who did it."""
    said = told(entry.body, shown.units)
    if isinstance(entry.body, Weighed):
        doubts = [doubt["message"] for doubt in doubts_of(daemon.engine.book, entry.body.piece)]
        said = " ".join(
            [said, *(f"{as_read(doubt, shown.units.mass).rstrip('.')}." for doubt in doubts)]
        )
    return {
        "said": said,
        "run": entry.run,
        "seq": entry.seq,
        "undo": undo_of(daemon, entry),
        "durable": daemon.is_on_disk(entry),
    }


def undo_of(daemon: Node, entry: Entry) -> dict[str, Any] | None:
    """Return the action that takes an entry back with its fields, ``None`` where none does."""
    body = entry.body
    if is_undoable(body) or isinstance(body, CookStarted | ChannelDoubted):
        action = "unbegin" if isinstance(body, CookStarted) else "undo"
        return {"action": action, "fields": {"run": entry.run, "seq": str(entry.seq)}}
    if not isinstance(body, AlertActed) or body.action not in _ALERT_UNDO:
        return None
    watch = daemon.engine.state.watches.get(body.alert)
    if body.action == "acknowledge" and (watch is None or watch.state not in _STILL_SEEN):
        return None  # it was over already and is gone with this
    return {"action": _ALERT_UNDO[body.action], "fields": {"alert": body.alert}}


_ALERT_UNDO = {"acknowledge": "unacknowledge", "answer": "unacknowledge", "shelve": "unshelve",
               "unacknowledge": "acknowledge"}  # fmt: skip
_STILL_SEEN = frozenset({AlertState.ACKNOWLEDGED, AlertState.LATCHED_ACKNOWLEDGED})
