"""The Temp screen: a temperature by hand, of a piece or a place, by whoever reads it."""

from __future__ import annotations

from typing import Any

from pitlogger.model.cooks import Stage, natural
from pitlogger.model.readings import Site
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running
from pitlogger.web.access.roles import who_asks
from pitlogger.web.page.cooking.figures import figure

PLACE = "site:"  # what stands before a place where a piece could stand
_PLACES = (Site.HOLD, Site.COLD, Site.TRANSPORT, Site.LINE)
_OVER = frozenset({Stage.SERVED, Stage.DISCARDED})
MOST_PEOPLE = 6


def temp(daemon: Node, shown: Shown, piece: str = "") -> dict[str, Any]:
    """Return the screen for readings by hand; ``piece`` is chosen where it is named."""
    running = is_running(daemon)
    picks = _pieces(daemon, shown) if running else []
    known = {one["value"] for one in (*picks, *_places())}
    spots = daemon.engine.book.spots
    silent = [one["name"] for one in picks if one["silent"]]
    return {
        "running": running,
        "picks": picks,
        "places": _places(),
        "picked": piece if piece in known else "",
        "people": _people(daemon),
        "probe": (spots[-1][1].probe or "") if spots else "",
        "sentence": _sentence(running, silent),
    }


def _sentence(running: bool, silent: list[str]) -> str:
    if not running:
        return tr("No cook is running.")
    if silent:
        return tr("Read by hand what no probe reads: {names}.", names=", ".join(silent))
    return tr("Read it in the thickest part, off the bone.")


def _pieces(daemon: Node, shown: Shown) -> list[dict[str, Any]]:
    found = []
    for held in daemon.engine.book.pieces.values():
        if not held.is_open or held.stage in _OVER:
            continue
        said, silent = _said(daemon, held.piece.id, shown)
        found.append(
            {"value": held.piece.id, "name": held.piece.id, "said": said, "silent": silent}
        )
    return sorted(found, key=lambda one: (not one["silent"], natural(one["name"])))


def _said(daemon: Node, piece: str, shown: Shown) -> tuple[str, bool]:
    """Return what the probe of a piece reads, and whether it reads nothing."""
    lead = next(iter(daemon.engine.book.cores(piece)), None)
    lane = daemon.engine.lanes.get(lead or "")
    if lane is None:
        return tr("no probe"), True
    shows = figure(daemon, lane, shown)
    if shows["quality"] == "good":
        return tr("{value} by probe", value=shows["number"]), False
    return tr("probe {word}", word=shows["word"]), True


def _places() -> list[dict[str, Any]]:
    return [
        {"value": f"{PLACE}{site.value}", "name": words.capital(words.site(site)), "said": "",
         "silent": False}
        for site in _PLACES
    ]  # fmt: skip


def _people(daemon: Node) -> list[str]:
    """Return initials to choose from: this phone's, then who wrote last."""
    own = who_asks.get().initials
    wrote = [entry.by for entry in reversed(daemon.engine.state.entries) if entry.by]
    return [name for name in dict.fromkeys([own, *wrote]) if name][:MOST_PEOPLE]
