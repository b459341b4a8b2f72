"""How a person's own spreadsheet was understood, shown before it is imported; taking it back."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitlogger.cli.client import Client
from pitlogger.cli.output import table
from pitlogger.cli.questions import answers

if TYPE_CHECKING:
    from pitlogger.formats.own_sheet import OwnSheet
    from pitlogger.formats.paper_log import PaperLog

SHOWN_ROWS = 12


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file as read; ``own`` where its columns had to be understood first."""

    log: PaperLog
    own: OwnSheet | None = None


def read_sheet(file: Path, unit: str | None, cut: str | None) -> Sheet:
    """Read a paper log, by its exact column names or by what they mean.

    Raises:
        UsageError: It cannot be read at all.
        QuestionError: Something in it can mean two things.
    """
    from pitlogger.errors import UsageError
    from pitlogger.formats.own_sheet import read_own
    from pitlogger.formats.paper_log import parse_table, table_of
    from pitlogger.formats.sheet_words import column_meant

    lines = table_of(file)
    strict = fault = None
    try:
        strict = parse_table(lines, file.name)
    except UsageError as refused:
        fault = refused
    if strict is not None and (strict.rows or not strict.faults):
        lost = [title for title in strict.ignored if column_meant(title) is not None]
        if not lost and unit is None and cut is None:
            return Sheet(strict)
    try:
        own = read_own(lines, file.name, answers(), unit, cut)
    except UsageError:
        if strict is not None:
            return Sheet(strict)
        raise fault or UsageError(f"{file}: cannot be read") from None
    return Sheet(own.log, own)


def preview(own: OwnSheet) -> str:
    """Return the columns as matched, the rows as read, and what would be learned."""
    from pitlogger.model.quantities import show_mass

    columns = [[one.title, one.name, one.unit or ""] for one in own.matched]
    lines = [table(columns, ["column", "is read as", "in"])]
    if own.log.ignored:
        lines.append(f"not read: {', '.join(own.log.ignored)}")
    if own.skipped:
        lines.append(f"skipped above the header: line {', '.join(map(str, own.skipped))}")
    names = list(dict.fromkeys(name for row in own.log.rows for name in row.masses))
    rows = [
        [str(row.line), row.date, row.cut,
         *(show_mass(row.masses[name].mass_mg) if name in row.masses else "" for name in names)]
        for row in own.log.rows[:SHOWN_ROWS]
    ]  # fmt: skip
    lines += ["", table(rows, ["line", "date", "cut", *names])] if rows else []
    if (more := len(own.log.rows) - SHOWN_ROWS) > 0:
        lines.append(f"and {more} more rows")
    return "\n".join([*lines, "", _learned(own.log)])


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


def batch_of(file: Path) -> str:
    """Return the name of the import of a file: the same file has the same."""
    return f"import-{hashlib.sha256(file.read_bytes()).hexdigest()[:10]}"


def withdraw_import(
    file: Path, socket: Path | None, reason: str, by: str
) -> tuple[dict[str, Any], str]:
    """Take the cooks that came with a file out of lists and learning."""
    from pitlogger.errors import UsageError

    if not file.is_file():
        raise UsageError(f"{file}: cannot be read; name the file that was imported")
    if not reason.strip():
        raise UsageError("say why the import is taken back (--reason)")
    client = Client(socket)
    made: dict[str, Any] = client.post(
        "/record/withdraw", batch=batch_of(file), reason=reason, by=by
    )
    again = "nothing is erased, and importing it again brings it back"
    return made, f"{file}: {made['cooks']} cooks taken back; {again}"
