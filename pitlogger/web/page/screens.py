"""What each screen of a running cook shows, as plain values for its template."""

from __future__ import annotations

from typing import Any

from pitlogger.daemon import Daemon
from pitlogger.model.book import PieceBook, counted
from pitlogger.model.cooks import AddedMass, ByProduct, Checkpoint, Stage, may_follow
from pitlogger.model.journal import Weighed
from pitlogger.model.next_steps import NEXT_CHECKPOINT, NEXT_STAGE
from pitlogger.reports.replay_document import yield_rows
from pitlogger.web.page import standing, words
from pitlogger.web.page.alarms import alert
from pitlogger.web.page.figures import figures, scales
from pitlogger.web.page.shown import Shown, percent

HOUR_MS = 3_600_000
MOST_ROWS = 48


def pit(daemon: Daemon, shown: Shown) -> dict[str, Any]:
    """Return the home screen."""
    return {
        "sentence": standing.sentence(daemon, shown),
        "running": standing.is_running(daemon),
        "cook": daemon.engine.book.cook,
        "figures": figures(daemon, shown),
        "prompts": [alert(daemon, watch, shown) for watch in standing.active(daemon, "prompt")],
        "ahead": [
            standing.forecast_words(made, shown)
            for made in standing.forecasts(daemon, shown.now_ms)[:4]
        ],
        "pieces": pieces(daemon, shown),
        "scales": scales(daemon, shown),
    }


async def pit_with_table(daemon: Daemon, shown: Shown) -> dict[str, Any]:
    """Return the home screen with the chart as a table by the hour."""
    return {**pit(daemon, shown), "table": await hours(daemon, shown)}


async def hours(daemon: Daemon, shown: Shown) -> dict[str, Any] | None:
    """Return what the pits and cores read in each hour of the cook, ``None`` without a cook."""
    book = daemon.engine.book
    if book.started_ms is None or not standing.is_running(daemon):
        return None
    channels = [one["channel"] for one in figures(daemon, shown) if one["main"]]
    end_ms = shown.now_ms + shown.utc_offset_ms
    count = min(MOST_ROWS, (shown.now_ms - book.started_ms) // HOUR_MS + 1)
    from_ms = end_ms - count * HOUR_MS
    lines = await daemon.ask(lambda reader: reader.chart(channels, from_ms, end_ms, count))
    means = [dict(zip(line.at_ms, line.mean, strict=True)) for line in lines]
    rows = [
        {
            "at": shown.clock(at_ms - shown.utc_offset_ms),
            "cells": [
                shown.degrees(mean[at_ms]) if at_ms in mean else "no reading" for mean in means
            ],
        }
        for at_ms in range(from_ms, end_ms, HOUR_MS)
    ]
    names = [f"{channel}, {shown.units.temperature}" for channel in channels]
    return {"names": names, "rows": rows}


def pieces(daemon: Daemon, shown: Shown) -> list[dict[str, Any]]:
    """Return the pieces that are still followed, each with the stages it may go to."""
    if not standing.is_running(daemon):
        return []
    held = daemon.engine.book.pieces.values()
    return [_piece(one, shown) for one in held if one.ended_ms is None]


def _piece(held: PieceBook, shown: Shown) -> dict[str, Any]:
    following = NEXT_STAGE.get(held.stage)
    return {
        "id": held.piece.id,
        "cut": held.piece.cut,
        "count": held.piece.count,
        "stage": words.stage_label(held.stage),
        "since": shown.since(held.stage_since_ms),
        "next": None if following is None else following.value,
        "next_act": "" if following is None else words.STAGE_ACT[following],
        "stages": [
            {"value": stage.value, "label": words.STAGE_ACT[stage]}
            for stage in Stage
            if stage is not held.stage and may_follow(held.stage, stage)
        ],
    }


def weigh(daemon: Daemon, shown: Shown) -> dict[str, Any]:
    """Return the weighing screen: scales, the proposals, all that can be weighed."""
    running = standing.is_running(daemon)
    return {
        "sentence": _weigh_sentence(daemon, shown),
        "running": running,
        "scales": scales(daemon, shown),
        "proposals": proposals(daemon) if running else [],
        "pieces": pieces(daemon, shown),
        "checkpoints": _choices(Checkpoint),
        "by_products": _choices(ByProduct),
        "added": _choices(AddedMass),
        "mass_unit": "lb" if shown.units.mass == "lb-oz" else shown.units.mass,
        "temperature_unit": shown.units.temperature,
    }


def _choices(kinds: Any) -> list[dict[str, str]]:
    return [{"value": kind.value, "label": words.checkpoint_label(kind.value)} for kind in kinds]


def _weigh_sentence(daemon: Daemon, shown: Shown) -> str:
    found = scales(daemon, shown)
    if not found:
        return "No scale is connected: type the mass."
    parts = []
    for one in found:
        if one["is_steady"]:
            parts.append(f"{one['channel']} is steady at {one['net']}")
        elif one["net"]:
            parts.append(f"{one['channel']} is settling")
        else:
            parts.append(f"{one['channel']}: {one['word']}; the mass can be typed")
    return f"{'; '.join(parts)}."


def proposals(daemon: Daemon) -> list[dict[str, str]]:
    """Return what is likely weighed next: each piece at the checkpoint its stage asks for.

    Pieces whose checkpoint is still missing come first, the latest change of stage first.
    """
    found = []
    for held in daemon.engine.book.pieces.values():
        checkpoint = NEXT_CHECKPOINT.get(held.stage)
        if held.ended_ms is None and checkpoint is not None:
            missing = held.net_mg(checkpoint) is None
            found.append((not missing, -held.stage_since_ms, held.piece.id, checkpoint))
    return [
        {"piece": piece, "checkpoint": checkpoint, "label": words.checkpoint_label(checkpoint)}
        for _, _, piece, checkpoint in sorted(found)
    ]


def weights(daemon: Daemon, shown: Shown) -> dict[str, Any]:
    """Return the weights book: each weighing with its loss since the last and of purchase."""
    book = daemon.engine.book
    yields = yield_rows(book)
    return {
        "sentence": _weights_sentence(daemon, shown),
        "running": standing.is_running(daemon),
        "pieces": [weights_of(daemon, held, shown, yields) for held in book.pieces.values()],
        "struck": struck(daemon, shown),
    }


def _weights_sentence(daemon: Daemon, shown: Shown) -> str:
    if daemon.engine.book.cook is None:
        return "Nothing has been weighed yet."
    parts = []
    for held in daemon.engine.book.pieces.values():
        first = held.net_mg("purchased")
        last = _on_ladder(held)[-1:] if held.weighings else []
        if first and last and last[0].weighed.checkpoint != "purchased":
            share = last[0].weighed.net_mg / first
            label = words.checkpoint_label(last[0].weighed.checkpoint)
            parts.append(f"{held.piece.id} {label}: {percent(share)} of purchase")
    return f"{'; '.join(parts)}." if parts else "Weigh what was bought, drained, to begin."


def _on_ladder(held: PieceBook) -> list[Any]:
    ladder = set(Checkpoint)
    return [w for w in held.weighings if w.weighed.checkpoint in ladder]


def weights_of(
    daemon: Daemon, held: PieceBook, shown: Shown, yields: list[dict[str, Any]]
) -> dict[str, Any]:
    """Return one piece of the weights book with its losses by cause and what is in doubt."""
    first = held.net_mg("purchased")
    ladder = set(Checkpoint)
    previous: int | None = None
    lines = []
    for weighing in held.weighings:
        weighed = weighing.weighed
        on_ladder = weighed.checkpoint in ladder
        change = weighed.net_mg - previous if on_ladder and previous is not None else None
        lines.append(
            {
                "run": weighing.id[0],
                "seq": weighing.id[1],
                "checkpoint": words.checkpoint_label(weighed.checkpoint),
                "net": shown.mass(weighed.net_mg),
                "change": "" if change is None else _signed(shown, change),
                "share": percent(weighed.net_mg / first) if first and on_ladder else "",
                "by": weighing.by,
                "at": shown.clock(weighed.at_ms),
                "iso": shown.iso(weighed.at_ms),
                "source": weighed.source,
                "container": weighed.container or "",
                "corrected": weighing.corrected,
            }
        )
        if on_ladder and weighed.checkpoint != "label":
            previous = weighed.net_mg
    account = next((one for one in yields if one["piece"] == held.piece.id), None)
    return {
        "id": held.piece.id,
        "cut": held.piece.cut,
        "lines": lines,
        "doubts": [] if account is None else account["doubts"],
        "losses": _losses(account, shown),
        "servable": _servable(account, shown),
        "ended": held.ended_ms is not None,
    }


def _losses(account: dict[str, Any] | None, shown: Shown) -> list[dict[str, str]]:
    """Return what was lost by cause, each as mass and as a share of purchase."""
    if account is None:
        return []
    bought = account["purchased_g"]
    return [
        {
            "cause": cause.replace("-", " "),
            "mass": shown.mass_g(grams),
            "share": percent(grams / bought) if bought else "",
        }
        for cause, grams in account["loss_by_cause_g"].items()
    ]


def _servable(account: dict[str, Any] | None, shown: Shown) -> str:
    if account is None or account["servable_pct"] is None:
        return ""
    return (
        f"Servable yield {account['servable_pct']:.1f} % of purchase "
        f"(\N{PLUS-MINUS SIGN} {account['u_servable_pct']:.1f}): "
        f"{shown.mass_g(account['servable_g'])} of {shown.mass_g(account['purchased_g'])}."
    )


def struck(daemon: Daemon, shown: Shown) -> list[dict[str, str]]:
    """Return the weighings that no longer count: taken back, or corrected."""
    entries = daemon.engine.state.entries
    counted_as = {
        (entry.run, entry.seq): (body, corrected)
        for entry, body, corrected in counted(entries)
        if isinstance(entry.body, Weighed)
    }
    found = []
    for entry in entries:
        if not isinstance(entry.body, Weighed):
            continue
        standing_as = counted_as.get((entry.run, entry.seq))
        if standing_as is None or standing_as[1]:
            found.append(
                {
                    "piece": entry.body.piece,
                    "checkpoint": words.checkpoint_label(entry.body.checkpoint),
                    "net": shown.mass(entry.body.net_mg),
                    "at": shown.clock(entry.body.at_ms),
                    "by": entry.by,
                    "why": "corrected" if standing_as is not None else "taken back",
                }
            )
    return found


def _signed(shown: Shown, mass_mg: int) -> str:
    return shown.mass(mass_mg) if mass_mg < 0 else f"+{shown.mass(mass_mg)}"
