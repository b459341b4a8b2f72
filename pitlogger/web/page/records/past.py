"""Past cooks: what each cut gave, and one cook looked at again, or two on one chart."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from typing import Any

from pitlogger.errors import PitloggerError, UsageError, unknown
from pitlogger.reports.pictures import yield_strip
from pitlogger.reports.replay_document import yield_rows
from pitlogger.store.rows import CookRow
from pitlogger.views import words
from pitlogger.views.language import date, figure, tr, trn
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown, percent
from pitlogger.web.page.cooking.pieces import in_order
from pitlogger.web.page.records.meal import meal_form, with_meal
from pitlogger.web.page.records.past_record import books
from pitlogger.web.page.records.weights import weights_of
from pitlogger.web.page.records.written import written
from pitlogger.web.routes.jobs import answered, shelf_of
from pitlogger.yields.books import from_book, from_books
from pitlogger.yields.learned.lessons_document import lessons_document
from pitlogger.yields.ledger import account, servable
from pitlogger.yields.records import PastPiece

FILTERS = ("cut", "supplier", "grade", "wrap")
LEAST = 1


async def past_screen(daemon: Node, shown: Shown, query: Mapping[str, str]) -> dict[str, Any]:
    """Return the list of cooks and a dot strip a cut, for what the filters leave."""
    kept_rows = await daemon.ask(lambda reader: reader.cooks(withdrawn=True))
    rows = [row for row in kept_rows if not row.withdrawn]
    known = await books(daemon)
    pieces = from_books(known).pieces()
    earned = await _earned(daemon, {row.id for row in rows})
    by_cook = {cook: from_book(book) for book in known for cook in book.cooks}
    chosen = {name: query.get(name, "") for name in FILTERS}
    kept = [
        piece
        for piece in pieces
        if all(not value or getattr(piece, name) == value for name, value in chosen.items())
    ]
    document = lessons_document(kept)
    strips = [
        _strip(cut, document["pieces"], number) for number, cut in enumerate(document["cuts"])
    ]
    return {
        "sentence": _sentence(rows, document),
        "filters": [
            {"name": name, "value": chosen[name], "values": _values(pieces, name)}
            for name in FILTERS
        ],
        "strips": [strip for strip in strips if strip is not None],
        "cooks": [
            {
                **cook_line(row, daemon, shown),
                **_gave(by_cook.get(row.id, []), shown),
                **earned.get(row.id, {}),
            }
            for row in rows
        ],
        "withdrawn": [cook_line(row, daemon, shown) for row in kept_rows if row.withdrawn],
    }


def _gave(own: Sequence[PastPiece], shown: Shown) -> dict[str, Any]:
    """Return the cuts of a cook, and what of the purchase could be served where both are known."""
    both = [
        (bought, kept)
        for piece in own
        if not piece.parents and not piece.children
        if (bought := account(piece).purchased_g) and (kept := servable(piece))
    ]
    bought_g, kept_g = (sum(pair[side].value for pair in both) for side in (0, 1))
    cuts = dict.fromkeys(words.cut(piece.cut) for piece in own)
    return {
        "cuts": ", ".join(cuts),
        "share": percent(kept_g / bought_g) if bought_g else "",
        "raw": shown.mass_g(bought_g) if bought_g else "",
        "raw_g": round(bought_g),
        "served": shown.mass_g(kept_g) if bought_g else "",
        "served_g": round(kept_g),
    }


async def _earned(daemon: Node, cooks: Collection[str]) -> dict[str, dict[str, Any]]:
    """Return what the jobs of these cooks earned, or are planned to, by cook."""
    shelf, found = shelf_of(daemon), {}
    for job in await asyncio.to_thread(shelf.ids):
        with suppress(PitloggerError):  # Jobs says what is wrong with it
            source = (await asyncio.to_thread(shelf.read, job)).file
            own = [one for one in (source.job.cook, *source.job.cooks) if one in cooks]
            if len(own) == 1:
                answer = await answered(daemon, source)
                made = answer.earned.middle if answer.result is None else answer.result.profit
                found[own[0]] = {"earned": f"{made:,} {answer.currency}".rstrip(), "profit": made,
                                 "planned": answer.result is None}  # fmt: skip
    return found


def _values(pieces: Any, name: str) -> list[str]:
    return sorted({value for piece in pieces if (value := getattr(piece, name))})


def _sentence(rows: list[CookRow], document: dict[str, Any]) -> str:
    if not rows:
        return tr("No cook is on record yet.")
    known = [piece for piece in document["pieces"] if piece["servable_pct"] is not None]
    cooks = trn("{count} cook on record", "{count} cooks on record", len(rows))
    if not known:
        return tr("{cooks}; no piece was weighed from purchase to the plate yet.", cooks=cooks)
    return trn(
        "{cooks}; {count} piece weighed from purchase to the plate.",
        "{cooks}; {count} pieces weighed from purchase to the plate.",
        len(known),
        cooks=cooks,
    )


def _strip(cut: dict[str, Any], pieces: list[dict[str, Any]], number: int) -> dict[str, Any] | None:
    shares = [
        piece["servable_pct"]
        for piece in pieces
        if piece["cut"] == cut["cut"] and piece["servable_pct"] is not None
    ]
    if len(shares) < LEAST:
        return None
    return {
        "cut": cut["cut"],
        "n": len(shares),
        "svg": own_ids(
            yield_strip(words.cut(cut["cut"]), shares, cut["learned"]), f"strip{number}"
        ),
        "next": percent(cut["learned"]["median"]),
        "dear": [
            tr(
                "{cause}: {share} % of purchase (of {n})",
                cause=words.cause(step["cause"]),
                share=figure(f"{step['share_pct']:.1f}"),
                n=step["n"],
            )
            for step in cut["dear_steps"][:4]
        ],
        "levels": [
            tr(
                "{factor} {value}: {mean} % (of {n})",
                factor=tr(words.FACTORS[level["factor"]]),
                value=tr(level["value"]) if level["factor"] == "wrap" else level["value"],
                mean=figure(f"{level['mean_pct']:.1f}"),
                n=level["n"],
            )
            for level in cut["factors"]
        ],
    }


def own_ids(svg: str, prefix: str) -> str:
    """Return a picture whose ids are its own, so that several stand on one page."""
    return (
        svg.replace('aria-labelledby="t d"', f'aria-labelledby="{prefix}t {prefix}d"')
        .replace('id="t"', f'id="{prefix}t"')
        .replace('id="d"', f'id="{prefix}d"')
    )


def cook_line(row: CookRow, daemon: Node, shown: Shown) -> dict[str, Any]:
    started = shown.of_utc(row.started_utc_ms)
    return {
        "id": row.id,
        "name": row.name,
        "at": f"{date(started, with_year=True)}, {started:%H:%M}",
        "iso": started.isoformat(timespec="minutes"),
        "running": row.id == daemon.cook,
        "finished": row.finished_ms is not None,
    }


async def cook_screen(
    daemon: Node, shown: Shown, cook: str, query: Mapping[str, str]
) -> dict[str, Any]:
    """Return one cook again: its chart, its weights, its yield.

    Raises:
        UsageError: No such cook.
    """
    rows = await daemon.ask(lambda reader: reader.cooks(withdrawn=True))
    known = {row.id: row for row in rows}
    if cook not in known:
        raise UsageError(unknown("cook", cook, known))
    book = await daemon.ask(lambda reader: with_meal(reader, cook))
    yields = yield_rows(book)
    other = query.get("with", "")
    return {
        "cook": known[cook],
        "sentence": _cook_sentence(known[cook].name, yields),
        "line": cook_line(known[cook], daemon, shown),
        "others": [
            cook_line(row, daemon, shown) for row in rows if row.id != cook and not row.withdrawn
        ],
        "other": other if other in known and other != cook else "",
        "pieces": [weights_of(daemon, held, shown, yields) for held in in_order(book)],
        "meal": meal_form(cook, book, shown),
        "written": await written(daemon, known[cook], shown),
        "notes": [{"text": noted.text, "by": entry.by} for entry, noted in book.notes],
    }


def _cook_sentence(name: str, yields: list[dict[str, Any]]) -> str:
    told = [
        tr(
            "{piece} gave {share} % of purchase",
            piece=one["piece"],
            share=figure(f"{one['servable_pct']:.1f}"),
        )
        for one in yields
        if one["servable_pct"] is not None
    ]
    return (
        f"{name}: {'; '.join(told)}."
        if told
        else tr("{name}: not weighed from purchase to plate.", name=name)
    )
