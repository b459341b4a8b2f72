"""The Weigh screen: scales, what lies on them probably, containers, all that can be weighed."""

from __future__ import annotations

from typing import Any

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import AddedMass, ByProduct, Checkpoint, natural
from pitlogger.model.next_steps import NEXT_CHECKPOINT
from pitlogger.node.containers import containers
from pitlogger.views import words
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.views.status import is_running
from pitlogger.web.page.cooking.figures import net_mg, scales
from pitlogger.web.page.cooking.loose import waiting_weights
from pitlogger.yields.weighing.expected import expected, habits

LIKELY = 0.5  # of a guess by mass, to stand before what the stages say


def weigh(daemon: Node, shown: Shown, piece: str = "") -> dict[str, Any]:
    """Return the weighing screen; ``piece`` is chosen where it is named."""
    running = is_running(daemon)
    found = scales(daemon, shown)
    kept = containers(daemon)
    return {
        "sentence": _sentence(found),
        "running": running,
        "scales": found,
        **_picks(daemon, shown, piece),
        "containers": [
            {
                "name": one.name,
                "tare": shown.mass(one.tare_mg or 0),
                "tare_text": f"{(one.tare_mg or 0) / 1000:g} g",
                "by": one.by,
                "at": shown.clock(one.at_ms - shown.utc_offset_ms),
            }
            for one in kept.values()
        ],
        "loose": waiting_weights(daemon, shown),
        "checkpoints": _choices(Checkpoint),
        "by_products": _choices(ByProduct),
        "added": _choices(AddedMass),
        "mass_unit": "lb" if shown.units.mass == "lb-oz" else shown.units.mass,
    }


def _picks(daemon: Node, shown: Shown, piece: str) -> dict[str, Any]:
    """Return a key for each piece with the checkpoint it waits for, the likeliest first."""
    masses = [net_mg(daemon, one["channel"]) for one in scales(daemon, shown)]
    likely = {_likely(daemon, mass) for mass in masses}
    picks = [_pick(daemon, one, shown, likely) for one in proposals(daemon, None)]
    chosen = piece if any(one["id"] == piece for one in picks) else ""
    if len(picks) == 1:
        chosen = picks[0]["id"]
    checkpoint = next((one["checkpoint"] for one in picks if one["id"] == chosen), "")
    picks.sort(key=lambda one: natural(one["id"]))
    return {"picks": picks, "picked": chosen,
            "checkpoint": checkpoint or (picks[0]["checkpoint"] if picks else "")}  # fmt: skip


def _pick(daemon: Node, one: dict[str, str], shown: Shown, likely: set[str]) -> dict[str, str]:
    held = daemon.engine.book.pieces[one["piece"]]
    kept = [w for w in held.weighings if w.weighed.checkpoint == one["checkpoint"]]
    said = tr("done {at}", at=shown.clock(kept[-1].weighed.at_ms)) if kept else one["label"]
    if one["piece"] in likely:
        said += tr(", by its mass")
    return {"id": one["piece"], "checkpoint": one["checkpoint"], "said": said}


def _likely(daemon: Node, steady_net_mg: int | None) -> str:
    """Return the piece that a steady mass is most likely of, empty where none is."""
    open_pieces = [held for held in daemon.engine.book.pieces.values() if held.is_open]
    return _guess(open_pieces, steady_net_mg, daemon.clock.engine_ms()) or ""


def _choices(kinds: Any) -> list[dict[str, str]]:
    return [{"value": kind.value, "label": words.checkpoint(kind.value)} for kind in kinds]


def _sentence(found: list[dict[str, Any]]) -> str:
    if not found:
        return tr("No scale is connected: type the mass.")
    parts = []
    for one in found:
        if one["is_steady"]:
            parts.append(tr("{scale} is steady at {mass}", scale=one["channel"], mass=one["net"]))
        elif one["net"]:
            parts.append(tr("{scale} is settling", scale=one["channel"]))
        else:
            parts.append(
                tr("{scale}: {word}; the mass can be typed", scale=one["channel"], word=one["word"])
            )
    return f"{'; '.join(parts)}."


def proposals(daemon: Node, steady_net_mg: int | None) -> list[dict[str, str]]:
    """Return what is likely weighed next: each piece at the checkpoint its stage asks for.

    What a steady mass is most likely comes first; then pieces whose checkpoint is still
    missing, the latest change of stage first.
    """
    if not is_running(daemon):
        return []
    open_pieces = [held for held in daemon.engine.book.pieces.values() if held.is_open]
    guess = _guess(open_pieces, steady_net_mg, daemon.clock.engine_ms())
    found = []
    for held in open_pieces:
        checkpoint = NEXT_CHECKPOINT.get(held.stage)
        if checkpoint is not None:
            missing = held.net_mg(checkpoint) is None
            order = (held.piece.id != guess, not missing, -held.stage_since_ms, held.piece.id)
            found.append((order, checkpoint))
    return [
        {"piece": order[3], "checkpoint": checkpoint, "label": words.checkpoint(checkpoint)}
        for order, checkpoint in sorted(found)
    ]


def _guess(open_pieces: list[PieceBook], steady_net_mg: int | None, now_ms: int) -> str | None:
    """Return the piece that a mass is most likely of, ``None`` where nothing is likely."""
    if not steady_net_mg or steady_net_mg <= 0:
        return None
    waiting = expected(open_pieces, now_ms)
    from pitlogger.yields.weighing.matching import match  # loads numpy: not at the start

    (found,) = match([steady_net_mg / 1000], waiting, habits(open_pieces, now_ms))
    return found[0].piece if found and found[0].chance >= LIKELY else None
