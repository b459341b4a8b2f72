"""Which probe is in which piece, found by warming each in the hand; one piece by itself."""

from __future__ import annotations

from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.engine.compiled_channel import Lane
from pitlogger.inference.placement import placement, thin_part
from pitlogger.model.cooks import natural
from pitlogger.model.quantities import show_chance
from pitlogger.model.readings import Site
from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running
from pitlogger.web.page.cooking.figures import BY_HAND, figure
from pitlogger.web.page.cooking.home import piece_row
from pitlogger.web.page.cooking.pieces import piece_facts

MOST_PITS = 6
_SEEN_AFTER_MS = 5 * 60_000  # a swap is noticed so long after it
LOOKS = {
    "meat": mark("reads like meat"),
    "pit": mark("reads like the air of the pit"),
    "room": mark("reads like the room"),
    "cooling": mark("hot and cooling: in no raw meat"),
    "moving": mark("changes faster than meat"),
}
_NOT_PIT = frozenset({Site.CORE, Site.SURFACE, Site.HOLD, Site.COLD, Site.TRANSPORT, Site.ROOM})


def probes_screen(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the pieces that have no core probe yet, and the probes that have no place."""
    book = daemon.engine.book
    wanting = [
        held.piece.id
        for held in book.pieces.values()
        if is_running(daemon) and held.is_open and not book.cores(held.piece.id)
    ]
    pit_c = _pit_c(daemon)
    free = [
        {**figure(daemon, lane, shown), "looks": _looks(lane, pit_c), **_since(daemon, lane, shown)}
        for lane in daemon.engine.lanes.values()
        if lane.is_temperature and lane.site in (Site.NONE, Site.CORE) and lane.piece is None
        and not lane.state.id.endswith(BY_HAND)
    ]  # fmt: skip
    free.sort(key=lambda row: not row["looks"].startswith(tr(LOOKS["meat"])))
    sentence = (
        tr("Which probe goes into {piece}?", piece=wanting[0])
        if wanting
        else tr("Every piece has its probe.")
    )
    if not is_running(daemon):
        sentence = tr("No cook is running.")
    return {
        "sentence": sentence, "wanting": sorted(wanting, key=natural), "free": free,
        "swapped": _swapped(daemon, shown),
    }  # fmt: skip


def _swapped(daemon: Node, shown: Shown) -> list[dict[str, str]]:
    """Return the two probes that read what the other read, as what one tap repairs."""
    found = [lane.state for lane in daemon.engine.lanes.values() if lane.state.doubt == "swapped"]
    if len(found) != 2:
        return []
    one, other = found
    at = _at(daemon, one.doubt_ms - _SEEN_AFTER_MS, shown)
    return [{"channel": one.id, "other": other.id, **at}]


def _since(daemon: Node, lane: Lane, shown: Shown) -> dict[str, str]:
    """Return since when a probe has sat where it sits: it jumped then; nothing if it did not."""
    moved_ms = lane.state.trend.moved_ms
    started_ms = daemon.engine.book.started_ms
    if moved_ms is None or started_ms is None or moved_ms < started_ms:
        return {"at": "", "since": ""}
    return _at(daemon, moved_ms, shown)


def _at(daemon: Node, at_ms: int, shown: Shown) -> dict[str, str]:
    """Return a moment for a form and for eyes."""
    return {"at": rfc3339(at_ms + daemon.utc_offset_ms), "since": shown.clock(at_ms)}


def _looks(lane: Lane, pit_c: float | None) -> str:
    """Return where a probe seems to be, in words; empty where that is not plain."""
    levels_c = [level / 1000 for level in lane.state.minutes_mc]
    found = placement(levels_c[-6:], pit_c) if lane.state.heard_well() else "unknown"
    thin = thin_part(levels_c, pit_c) if found == "meat" else None
    if thin is None or abs(thin - 0.5) < 0.2:
        return tr(LOOKS[found]) if found in LOOKS else ""
    if thin > 0.5:
        return tr("reads like meat, its thin end ({p} likely)", p=show_chance(thin))
    return tr("reads like meat, its thick part ({p} likely)", p=show_chance(1 - thin))


def _pit_c(daemon: Node) -> float | None:
    """Return what the only pit reads, ``None`` without one or with several."""
    pits = [lane.state for lane in daemon.engine.lanes.values() if lane.site is Site.PIT]
    if len(pits) != 1 or not pits[0].heard_well() or pits[0].value is None:
        return None
    return pits[0].value / 1000


def may_be_pits(daemon: Node, shown: Shown) -> list[dict[str, Any]]:
    """Return the probes that may sit in a pit, those the configuration puts there first."""
    lanes = [
        lane
        for lane in daemon.engine.lanes.values()
        if lane.is_temperature and lane.site not in _NOT_PIT and not lane.state.id.endswith(BY_HAND)
    ]
    lanes.sort(key=lambda lane: (lane.site is not Site.PIT, natural(lane.state.id)))
    return [
        {**figure(daemon, lane, shown), "is_pit": lane.site is Site.PIT}
        for lane in lanes[:MOST_PITS]
    ]


def piece_screen(daemon: Node, shown: Shown, piece: str) -> dict[str, Any]:
    """Return one piece: all that can be done to it; ``p`` is ``None`` where it is not followed."""
    held = daemon.engine.book.pieces.get(piece)
    if held is None or not held.is_open or not is_running(daemon):
        return {"name": piece, "p": None}
    policy = daemon.policy
    wrap_at, pull_at = policy.wrap_at_mc(held.piece), policy.pull_at_mc(held.piece)
    facts = piece_facts(held, daemon.engine.book, shown)
    row = {**piece_row(daemon, held, shown), "alarm": False, "due": False, "solid": True}
    return {
        "name": piece,
        "row": row,
        "p": {
            **facts,
            "cut_label": words.capital(words.cut(held.piece.cut)),
            "wrap_at": "" if wrap_at is None or wrap_at < 0 else shown.degrees(wrap_at),
            "pull_at": "" if pull_at is None else shown.degrees(pull_at),
        },
    }
