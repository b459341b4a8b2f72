"""How a person's own spreadsheet was understood, as it is shown before it is imported."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass
from typing import Any

from pitlogger.errors import UsageError
from pitlogger.formats.own_sheet import OwnSheet, read_own, said_columns
from pitlogger.formats.paper_log import PaperLog, parse_table
from pitlogger.formats.sheet_words import column_meant
from pitlogger.formats.workbook import WorkbookTable, said_sheet
from pitlogger.model.quantities import show_mass
from pitlogger.questions import Answers

SHOWN_ROWS = 12


@dataclass(frozen=True, slots=True)
class SheetToImport:
    """A table as read; ``own`` where its columns had to be understood first."""

    log: PaperLog
    table: WorkbookTable
    own: OwnSheet | None = None


@dataclass(frozen=True, slots=True)
class Preview:
    """What is shown before a sheet is imported, as cells: columns, rows, and what it teaches."""

    columns: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    learned: str


def read_sheet(
    table: WorkbookTable, answers: Answers, unit: str | None = None, cut: str | None = None
) -> SheetToImport:
    """Read a paper log, by its exact column names or by what they mean.

    Raises:
        UsageError: It cannot be read at all.
        QuestionError: Something in it can mean two things.
    """
    lines, name = table.lines, table.name
    strict = fault = None
    try:
        strict = parse_table(lines, name)
    except UsageError as refused:
        fault = refused
    if strict is not None and (strict.rows or not strict.faults):
        lost = [title for title in strict.ignored if column_meant(title) is not None]
        if not lost and unit is None and cut is None and not said_columns(answers):
            return SheetToImport(strict, table)
    try:
        own = read_own(lines, name, answers, unit, cut)
    except UsageError:
        if said_columns(answers):
            raise
        if strict is not None:
            return SheetToImport(strict, table)
        raise fault or UsageError(f"{name}: cannot be read") from None
    return SheetToImport(own.log, table, own)


def preview(sheet: SheetToImport) -> Preview:
    """Return the columns as matched, the rows as read, and what would be learned."""
    log, own = sheet.log, sheet.own
    notes = [*sheets_read(sheet.table)]
    notes += [f"not read: {', '.join(log.ignored)}"] if log.ignored else []
    if own is not None and own.skipped:
        notes.append(f"skipped above the header: line {', '.join(map(str, own.skipped))}")
    if (more := len(log.rows) - SHOWN_ROWS) > 0:
        notes.append(f"and {more} more rows")
    names = list(dict.fromkeys(name for row in log.rows for name in row.masses))
    rows = [
        (str(row.line), row.date, row.cut,
         *(show_mass(row.masses[name].mass_mg) if name in row.masses else "" for name in names))
        for row in log.rows[:SHOWN_ROWS]
    ]  # fmt: skip
    return Preview(
        tuple((one.title, one.name, one.unit or "") for one in (own.matched if own else ())),
        tuple(notes),
        ("line", "date", "cut", *names),
        tuple(rows),
        _learned(log),
    )


def _learned(log: PaperLog) -> str:
    from pitlogger.yields.learned.servable import observations
    from pitlogger.yields.records import from_paper

    pieces = from_paper(log.rows).pieces()
    taught = Counter(one.record.cut for one in observations(pieces) if one.share() is not None)
    said = ", ".join(f"{count} of {cut}" for cut, count in taught.items())
    return f"would teach servable yield: {said or 'nothing (no row has purchased and carved)'}"


def columns_document(own: OwnSheet) -> list[dict[str, Any]]:
    """Return the columns as matched."""
    return [{"title": one.title, "name": one.name, "unit": one.unit} for one in own.matched]


def sheets_read(table: WorkbookTable) -> tuple[str, ...]:
    """Return which sheet was read and which were not, where there are several."""
    if not table.others:
        return ()
    others = ", ".join(map(said_sheet, table.others))
    return (f"{said_sheet(table.sheet)} was read; not read: {others}",)


def batch_of(data: bytes, table: WorkbookTable) -> str:
    """Return the name of the import of a table: the same sheet of the same file has the same."""
    sheet = f"-{table.place + 1}" if table.place else ""
    return f"import-{hashlib.sha256(data).hexdigest()[:10]}{sheet}"
