"""The Print screen, and the sheets it leads to: made to be printed or kept by the browser."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from fastapi.responses import HTMLResponse

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.model.quantities import parse_mass_mg
from pitlogger.reports.allergens import MAJOR, AllergenAnswer
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown
from pitlogger.web.page.ahead.plan import plan_document
from pitlogger.web.page.records.past import cook_line
from pitlogger.web.routes.tags import TagView, tags_of
from pitlogger.web.sheet_process import WHAT, sheet_of_cook

if TYPE_CHECKING:
    from pitlogger.reports.sheet import Sheet

LONGEST = 2000
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


async def print_screen(daemon: Node, shown: Shown, query: Mapping[str, str]) -> dict[str, Any]:
    """Return what can be printed: sheets of a cook, tags, a label."""
    rows = await daemon.ask(lambda reader: reader.cooks())
    known = {row.id: row for row in rows}
    chosen = query.get("cook", daemon.cook or (rows[0].id if rows else ""))
    return {
        "sentence": "Each opens as a sheet: print it or keep it with the browser.",
        "cooks": [cook_line(row, daemon, shown) for row in rows],
        "chosen": chosen if chosen in known else "",
        "allergens": MAJOR,
        "pieces": list(daemon.engine.book.pieces),
    }


async def printed(daemon: Node, shown: Shown, what: str, query: Mapping[str, str]) -> HTMLResponse:
    """Return a sheet as it is served.

    Raises:
        UsageError: Something given cannot be read.
        RefusedError: Nothing is on record yet.
    """
    given = {name: value.strip()[:LONGEST] for name, value in query.items() if value.strip()}
    if what == "label":
        return as_served(await asyncio.to_thread(_label, given))
    if what == "tags":
        return as_served(await asyncio.to_thread(_tags, tags_of(daemon)))
    if what == "shopping":
        document = await plan_document(daemon, query)
        return as_served(await asyncio.to_thread(_shopping, given, document, shown))
    for known in WHAT:
        if what == known:
            return as_served(await sheet_of_cook(daemon, known, given.get("cook"), shown.units))
    raise UsageError(unknown("sheet", what, (*WHAT, "label", "shopping", "tags")))


def as_served(text: str, keep_as: str = "") -> HTMLResponse:
    """Return a sheet to be shown, or to be kept as a file of that name."""
    headers = {"Content-Security-Policy": policy(text), "Cache-Control": "no-store"}
    if keep_as:
        headers["Content-Disposition"] = f'attachment; filename="{keep_as}.html"'
    return HTMLResponse(text, headers=headers)


def policy(text: str) -> str:
    """Return the content security policy of a sheet: its own styles by their hash, else nothing."""
    hashes = (hashlib.sha256(style.encode()).digest() for style in _STYLE.findall(text))
    allowed = " ".join(f"'sha256-{base64.b64encode(one).decode()}'" for one in hashes)
    return (
        f"default-src 'none'; style-src {allowed}; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


def sheet_html(sheet: Sheet) -> str:
    """Return a sheet as HTML; what makes it is loaded with the first one."""
    from pitlogger.reports.html import html as made

    return made(sheet)


def _tags(tags: list[TagView]) -> str:
    from pitlogger.reports.tags import PrintedTag, tags_sheet

    if not tags:
        raise RefusedError("No cook is running and no container is on the list")
    return sheet_html(tags_sheet([PrintedTag(one.text, one.title, one.about) for one in tags]))


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def _moment(text: str, name: str) -> datetime:
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError:
        raise UsageError(f"{name}: '{text}' is not a day and a time") from None


def _label(given: Mapping[str, str]) -> str:
    from pitlogger.reports.label import Label, label_sheet, until_by_default

    if "name" not in given:
        raise UsageError("a label needs a name: what is in the pack")
    ingredients = _lines(given.get("ingredients", ""))
    packed = _moment(given["packed"], "packed") if "packed" in given else _now()
    keep: Any = "hot" if given.get("keep") == "hot" else "cold"
    until = _moment(given["until"], "until") if "until" in given else until_by_default(keep, packed)
    if until <= packed:
        raise UsageError(f"until {until:%Y-%m-%d %H:%M} lies before it was packed")
    if "mass" in given:
        parse_mass_mg(given["mass"])  # says what is wrong with it
    if given.get("vacuum") not in ("yes", "no"):
        raise UsageError("say whether it is vacuum-packed: reduced oxygen has rules of its own")
    said = {name: given.get(f"has-{at}") for at, name in enumerate(MAJOR)}
    answered = AllergenAnswer.of(
        [name for name, word in said.items() if word == "yes"],
        [name for name, word in said.items() if word == "no"],
    )
    made = Label(
        given["name"], keep, packed, until, given.get("firm", ""), given.get("mass", ""),
        ingredients, answered, given.get("code", ""), given["vacuum"] == "yes",
    )  # fmt: skip
    return sheet_html(label_sheet(made))


def _now() -> datetime:
    return datetime.now().astimezone()


def _shopping(given: Mapping[str, str], plans: list[dict[str, Any]], shown: Shown) -> str:
    from pitlogger.reports.shopping import shopping_list

    items = _lines(given.get("items", ""))
    return sheet_html(shopping_list(plans, items, given.get("name", ""), shown.units.mass))
