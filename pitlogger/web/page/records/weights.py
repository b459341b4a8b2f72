"""The weights book: each weighing with its losses, by piece; what is in doubt, what was struck."""

from __future__ import annotations

from typing import Any

from pitlogger.model.book import PieceBook
from pitlogger.model.cooks import Checkpoint
from pitlogger.model.folding import counted
from pitlogger.model.journal import Weighed
from pitlogger.reports.replay_document import yield_rows
from pitlogger.views import words
from pitlogger.views.doubts import as_read
from pitlogger.views.language import figure, tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, percent
from pitlogger.views.status import is_running
from pitlogger.web.page.cooking.pieces import in_order, lineage
from pitlogger.web.page.records.stair_picture import stair_picture

MOST_NAMED = 3  # pieces that the sentence names one by one


def weights(daemon: Node, shown: Shown) -> dict[str, Any]:
    """Return the weights book: each weighing with its loss since the last and of purchase."""
    book = daemon.engine.book
    yields = yield_rows(book)
    return {
        "sentence": _sentence(daemon, yields, shown),
        "running": is_running(daemon),
        "pieces": [weights_of(daemon, held, shown, yields) for held in in_order(book)],
        "struck": struck(daemon, shown),
    }


def _sentence(daemon: Node, yields: list[dict[str, Any]], shown: Shown) -> str:
    book = daemon.engine.book
    if book.cook is None:
        return tr("Nothing has been weighed yet.")
    whole = {one["piece"]: one["servable_pct"] for one in yields}
    held_all = list(in_order(book))
    if len(held_all) > MOST_NAMED:
        return _total(held_all, shown)
    parts = []
    for held in held_all:
        if (servable_pct := whole.get(held.piece.id)) is not None:
            parts.append(
                tr(
                    "{id} can serve {servable_pct} % of purchase",
                    id=held.piece.id,
                    servable_pct=figure(f"{servable_pct:.1f}"),
                )
            )
            continue
        first, last = held.net_mg("purchased"), _on_ladder(held)[-1:]
        if first and last and last[0].weighed.checkpoint != "purchased":
            label = words.checkpoint(last[0].weighed.checkpoint)
            share = percent(last[0].weighed.net_mg / first)
            parts.append(
                tr("{id} {label}: {share} of purchase", id=held.piece.id, label=label, share=share)
            )
    return f"{'; '.join(parts)}." if parts else tr("Weigh what was bought, drained, to begin.")


def _total(pieces: list[PieceBook], shown: Shown) -> str:
    """Return one line for many pieces: what was bought, and what of it there is now."""
    weighed = [
        (first, _on_ladder(held)[-1].weighed.net_mg)
        for held in pieces
        if (first := held.net_mg("purchased"))
    ]
    if not weighed:
        return tr("Weigh what was bought, drained, to begin.")
    bought, now = sum(first for first, _ in weighed), sum(last for _, last in weighed)
    return tr(
        "{count} pieces: {bought} bought, {now} when last weighed, {share} of it.",
        count=len(weighed), bought=shown.mass(bought), now=shown.mass(now),
        share=percent(now / bought),
    )  # fmt: skip


def _on_ladder(held: PieceBook) -> list[Any]:
    ladder = set(Checkpoint)
    return [w for w in held.weighings if w.weighed.checkpoint in ladder]


def weights_of(
    daemon: Node, held: PieceBook, shown: Shown, yields: list[dict[str, Any]]
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
                "checkpoint": words.checkpoint(weighed.checkpoint),
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
        "cut": words.cut(held.piece.cut),
        "lines": lines,
        "doubts": [
            {**doubt, "message": as_read(doubt["message"], shown.units.mass)}
            for doubt in ([] if account is None else account["doubts"])
        ],
        "losses": _losses(account, shown),
        "servable": _servable(account, shown),
        "lineage": lineage(held),
        "stair": stair_picture(held.piece.id, _steps(held), shown, first),
    }


def _steps(held: PieceBook) -> list[tuple[str, int]]:
    """Return the weighings that make the stair, without what the label said."""
    return [
        (words.checkpoint_flag(one.weighed.checkpoint), one.weighed.net_mg)
        for one in _on_ladder(held)
        if one.weighed.checkpoint not in (Checkpoint.LABEL, Checkpoint.LEFTOVER)
    ]


def _losses(account: dict[str, Any] | None, shown: Shown) -> list[dict[str, str]]:
    """Return what was lost by cause, each as mass and as a share of purchase."""
    if account is None:
        return []
    bought = account["purchased_g"]
    return [
        {
            "cause": words.cause(cause),
            "mass": shown.mass_g(grams),
            "share": percent(grams / bought) if bought else "",
        }
        for cause, grams in account["loss_by_cause_g"].items()
    ]


def _servable(account: dict[str, Any] | None, shown: Shown) -> str:
    if account is None or account["servable_pct"] is None:
        return ""
    return tr(
        "Servable yield {share} % of purchase (±\u00a0{u}): {servable} of {purchased}.",
        share=figure(f"{account['servable_pct']:.1f}"),
        u=figure(f"{account['u_servable_pct']:.1f}"),
        servable=shown.mass_g(account["servable_g"]),
        purchased=shown.mass_g(account["purchased_g"]),
    )


def struck(daemon: Node, shown: Shown) -> list[dict[str, str]]:
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
                    "checkpoint": words.checkpoint(entry.body.checkpoint),
                    "net": shown.mass(entry.body.net_mg),
                    "at": shown.clock(entry.body.at_ms),
                    "by": entry.by,
                    "why": tr("corrected") if standing_as is not None else tr("taken back"),
                }
            )
    return found


def _signed(shown: Shown, mass_mg: int) -> str:
    return shown.mass(mass_mg) if mass_mg < 0 else f"+{shown.mass(mass_mg)}"
