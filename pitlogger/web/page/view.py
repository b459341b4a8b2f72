"""One screen as answered: its template with what every screen has."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from pitlogger.model.journal import Entry, Weighed
from pitlogger.views.entries import is_undoable, told
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, units_chosen
from pitlogger.web.page import standing
from pitlogger.web.page.render import render


def shown_to(daemon: Node, request: Request) -> Shown:
    """Return how values are shown to who asks."""
    units = units_chosen(request.cookies, daemon.units)
    return Shown(units, daemon.clock.engine_ms(), daemon.utc_offset_ms)


def screen(
    daemon: Node, request: Request, template: str, values: dict[str, Any], status: int = 200
) -> HTMLResponse:
    """Return a screen with what every screen has: the strip, the navigation, what was said."""
    shown = shown_to(daemon, request)
    text = render(
        template,
        path=request.url.path,
        node=daemon.config.node.name,
        strip=standing.strip(daemon, shown),
        shown=shown,
        trouble=daemon.trouble,
        did=_did(daemon, request, shown),
        **values,
    )
    return HTMLResponse(text, status, headers={"Cache-Control": "no-store"})


def refused(daemon: Node, request: Request, message: str, back: str, status: int) -> HTMLResponse:
    """Return the screen that says why something was not done."""
    return screen(daemon, request, "refused.html", {"message": message, "back": back}, status)


def _did(daemon: Node, request: Request, shown: Shown) -> dict[str, Any] | None:
    """Return what the entry named in the address said, for a browser without script."""
    run, _, seq = request.query_params.get("did", "").partition(".")
    for entry in reversed(daemon.engine.state.entries):
        if entry.run == run and str(entry.seq) == seq:
            return deed_view(daemon, entry, shown)
    return None


def deed_view(daemon: Node, entry: Entry, shown: Shown) -> dict[str, Any]:
    """Return what was done as told to who did it."""
    said = told(entry.body, shown.units)
    if isinstance(entry.body, Weighed):
        doubts = [doubt["message"] for doubt in daemon.doubts_of(entry.body.piece)]
        said = " ".join([said, *(f"{doubt.rstrip('.')}." for doubt in doubts)])
    return {
        "said": said,
        "run": entry.run,
        "seq": entry.seq,
        "undo": is_undoable(entry.body),
    }
