"""A spreadsheet read in on the page: chosen or pasted, asked about, shown, imported."""

from __future__ import annotations

import asyncio
import base64
import binascii
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.formats.own_sheet import header_of
from pitlogger.formats.paper_journal import cooks_of
from pitlogger.formats.paper_log import table_in
from pitlogger.formats.sheet_words import MEANINGS, SAID, plain_title
from pitlogger.formats.workbook import said_sheet
from pitlogger.questions import Answers, QuestionError
from pitlogger.views.language import tr, trn
from pitlogger.views.node import Node
from pitlogger.views.own_sheet import SheetToImport, batch_of, preview, read_sheet
from pitlogger.web.access.roles import who_asks
from pitlogger.web.import_batches import put_on_record
from pitlogger.web.kept_answers import keep_answers, kept_answers
from pitlogger.web.page.forms import parse_form
from pitlogger.web.page.plain_words import plain
from pitlogger.web.page.view import screen
from pitlogger.web.routes.error_answers import status_of

YES = "yes"
PASTED = "pasted.csv"


def add_import(page: APIRouter, daemon: Node) -> None:
    """Add the screen that reads a spreadsheet in."""

    @page.get("/import")
    async def choose(request: Request) -> HTMLResponse:
        return screen(daemon, request, "import.html", {"shown_sheet": None, "fault": ""})

    @page.post("/import")
    async def read(request: Request) -> HTMLResponse:
        form: dict[str, str] = {}
        try:
            form = _with_meanings(parse_form(await request.body()))
            data, name = _file(form)
            answers = Answers.of(form.get("confirm", ""))
            table = await asyncio.to_thread(table_in, data, name, answers)
            header = header_of(table.lines, name)
            kept = kept_answers(daemon.config.node.data, header)
            given = Answers.of(form.get("confirm", ""), kept=kept.given)
            given.used.update(answers.used)
            sheet = await asyncio.to_thread(read_sheet, table, given)
            if YES not in answers.given:
                values = await asyncio.to_thread(_shown, sheet, form, kept)
                return screen(daemon, request, "import.html", values)
            said = await _import(daemon, sheet, batch_of(data, table), answers)
            await asyncio.to_thread(keep_answers, daemon.config.node.data, header, given)
        except QuestionError as fault:
            values = {"asked": fault.asked, "fields": form, "action": "/import", "back": "/import"}
            return screen(daemon, request, "question.html", values, 409)
        except PitloggerError as fault:
            told = {"fault": plain(str(fault)), "pasted": form.get("pasted", "")}
            return screen(
                daemon, request, "import.html", {"shown_sheet": None, **told}, status_of(fault)
            )
        return screen(daemon, request, "done.html", {"message": said, "back": "/cooks"})


def _with_meanings(form: Mapping[str, str]) -> dict[str, str]:
    """Return the form with what was said of columns among its answers."""
    titles = {name[6:]: title for name, title in form.items() if name.startswith("title-")}
    said = [
        f"{plain_title(title)}{SAID}{form[f'means-{at}']}"
        for at, title in titles.items()
        if form.get(f"means-{at}")
    ]
    said = [*filter(None, (form.get("sheet"),)), *said]
    asked = ("title-", "means-", "sheet")
    rest = {name: text for name, text in form.items() if not name.startswith(asked)}
    return {**rest, "confirm": "; ".join(filter(None, (*said, form.get("confirm", ""))))}


def _file(form: Mapping[str, str]) -> tuple[bytes, str]:
    """Return the bytes of the file chosen, or of what was pasted, and a name for messages."""
    if content := form.get("content"):
        try:
            return base64.urlsafe_b64decode(content + "=" * (-len(content) % 4)), form.get(
                "file", ""
            )
        except (ValueError, binascii.Error):
            raise UsageError("the file did not arrive whole: choose it again") from None
    if pasted := form.get("pasted"):
        return pasted.encode(), PASTED
    if file := form.get("file"):
        raise UsageError(f"{file} is empty: choose another, or paste the cells")
    raise UsageError("choose a file, or paste the cells of your spreadsheet")


def _shown(sheet: SheetToImport, form: Mapping[str, str], kept: Answers) -> dict[str, Any]:
    count = len(sheet.log.rows)
    return {
        "shown_sheet": preview(sheet),
        "faults": [fault.message for fault in sheet.log.faults],
        "fields": {name: value for name, value in form.items() if name != "confirm"},
        "sheets": [(said_sheet(one), one) for one in sheet.table.others],
        "unread": sheet.log.ignored,
        "meanings": MEANINGS,
        "answered": form.get("confirm", ""),
        "confirm": "; ".join(filter(None, (form.get("confirm", ""), YES))),
        "kept": "; ".join(kept.given),
        "say": trn("Import {count} row", "Import {count} rows", count),
        "has_rows": count > 0,
    }


async def _import(daemon: Node, sheet: SheetToImport, batch: str, answers: Answers) -> str:
    """Put what was read on record, and return what is said of it.

    Raises:
        UsageError: Something in it cannot be read, or it holds no row.
    """
    if sheet.log.faults:
        raise UsageError("; ".join(fault.message for fault in sheet.log.faults))
    if not sheet.log.rows:
        raise UsageError("there is no row in it: nothing was imported")
    by = who_asks.get().initials
    cooks = [replace(cook, by=by, batch=batch) for cook in cooks_of(sheet.log.rows)]
    made = await put_on_record(daemon, cooks, batch, by, answers)
    said = tr("{count} rows are on record already; nothing is new.", count=len(sheet.log.rows))
    if made.new:
        said = tr("{count} rows are on record, {new} of them new.", count=len(sheet.log.rows),
                  new=made.rows)  # fmt: skip
    if made.stay_out:
        said += trn(" {count} cook was withdrawn and stays out.",
                    " {count} cooks were withdrawn and stay out.", made.stay_out)  # fmt: skip
    return said
