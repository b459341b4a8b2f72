"""A spreadsheet as people keep it, read as a paper log: columns by meaning, faults all at once.

What is not certain (default unit, which brisket, month or day first) is asked once a file.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256

from pitlogger.errors import QuantityError, UsageError, unknown
from pitlogger.formats import sheet_words
from pitlogger.formats.paper_log import PaperLog, RowFault, parse_table
from pitlogger.formats.workbook import LOOK, Line
from pitlogger.formats.written_mass import written_mass
from pitlogger.model.cooks import CUTS, WEIGHABLE
from pitlogger.questions import Answers

_NONE: Mapping[str, str] = {}


@dataclass(frozen=True, slots=True)
class Matched:
    """A column that was understood: where it stands, its title, what it means, in which unit."""

    place: int
    title: str
    name: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class OwnSheet:
    """What a spreadsheet holds and how it was understood."""

    log: PaperLog
    matched: tuple[Matched, ...]
    skipped: tuple[int, ...] = ()  # lines before the header, such as a title


def read_own(
    lines: Iterable[Line], name: str, answers: Answers, unit: str | None = None,
    cut: str | None = None,
) -> OwnSheet:  # fmt: skip
    """Read rows of cells of which nobody knows the form.

    Args:
        lines: Line numbers and cells.
        name: Of the file, for messages.
        answers: To what was asked before.
        unit: Of masses that name none.
        cut: Of rows that name none.

    Raises:
        UsageError: No header row can be found.
        QuestionError: Something can mean two things.
    """
    table = [(line, cells) for line, cells in lines if any(cell.strip() for cell in cells)]
    at = _header(table, name)
    header_line, header = table[at]
    matched, ignored = _columns(header, said_columns(answers))
    rows = table[at + 1 :]
    sheet = _Cells(name, matched, answers, rows, unit, cut)
    names = ["cut", *(column.name for column in matched if column.name != "cut")]
    strict: list[Line] = [(header_line, names)]
    strict += [(line, sheet.row(line, cells)) for line, cells in rows]
    read = parse_table([row for row in strict if row[0] not in sheet.bad], name)
    faults = sorted((*sheet.faults, *read.faults), key=lambda fault: fault.line)
    log = replace(read, faults=tuple(faults), ignored=tuple(ignored))
    return OwnSheet(log, tuple(matched), tuple(line for line, _ in table[:at]))


def header_of(lines: Iterable[Line], name: str) -> str:
    """Return a digest of the titles of a sheet: the next file of the same form has the same.

    Raises:
        UsageError: No header row can be found.
    """
    table = [(line, cells) for line, cells in lines if any(cell.strip() for cell in cells)]
    titles = [cell.strip().casefold() for cell in table[_header(table, name)][1]]
    return sha256("\x00".join(titles).rstrip("\x00").encode()).hexdigest()[:16]


def _header(table: Sequence[Line], name: str) -> int:
    """Return which row is the header: of the first, the one of which most is understood."""
    known = [len(_columns(cells)[0]) for _, cells in table[:LOOK]]
    if not known or max(known) < 2:
        raise UsageError(
            f"{name}: no header row found; expected one such as Date, Cut, Raw weight (lb), Sliced"
        )
    return known.index(max(known))


def said_columns(answers: Answers) -> dict[str, str]:
    """Return what a person said that columns mean, by their plain titles; the first said counts."""
    told = [one for one in answers.all if sheet_words.SAID in one]
    answers.used.update(told)
    said = [one.rpartition(sheet_words.SAID) for one in reversed(told)]
    return {sheet_words.plain_title(title): meaning.strip() for title, _, meaning in said}


def _columns(
    header: Sequence[str], said: Mapping[str, str] = _NONE
) -> tuple[list[Matched], list[str]]:
    titles = {sheet_words.plain_title(cell) for cell in header}
    for title in said:
        if title not in titles:
            raise UsageError(unknown("column", title, sorted(titles - {""})))
    by_hand = [sheet_words.column_said("", meaning) for meaning in said.values()]
    taken = {meant[0] for meant in by_hand if meant is not None}
    matched: list[Matched] = []
    ignored: list[str] = []
    for place, cell in enumerate(header):
        title = cell.strip()
        if (meaning := said.get(sheet_words.plain_title(title))) is not None:
            meant = sheet_words.column_said(title, meaning)
        else:
            meant = sheet_words.column_meant(title) if title else None
            meant = None if meant is not None and meant[0] in taken else meant
        if meant is None:
            ignored += [title] if title else []
            continue
        name, unit = meant
        if name == "price":
            name, unit = f"price_per_{unit if unit == 'kg' else 'lb'}", None
        if any(name == other.name for other in matched):
            ignored.append(title)
        else:
            matched.append(Matched(place, title, name, unit))
    return matched, ignored


def reference(line: int, place: int) -> str:
    """Return a cell as spreadsheets name it: ``C7``."""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{line}"


class _Cells:
    """Turns rows of a sheet into rows of a paper log, and collects what cannot be read."""

    def __init__(
        self, name: str, matched: Sequence[Matched], answers: Answers, rows: Sequence[Line],
        unit: str | None, cut: str | None,
    ) -> None:  # fmt: skip
        self.faults: list[RowFault] = []
        self.bad: set[int] = set()
        self._name = name
        self._matched = matched
        self._answers = answers
        self._unit = unit
        self._cut = cut
        self._days_first = self._order(rows)

    def _order(self, rows: Sequence[Line]) -> bool:
        """Return whether days stand before months: as some date shows, else as was answered."""
        column = next((one for one in self._matched if one.name == "date"), None)
        if column is None:
            return False
        dates = [_cell(cells, column.place) for _, cells in rows]
        shown = {found for text in dates if (found := sheet_words.day_first(text)) is not None}
        if len(shown) == 1:
            return shown.pop()
        doubtful = next((text for text in dates if sheet_words.is_ambiguous_date(text)), None)
        if doubtful is None:
            return False
        options = [f"month first: {sheet_words.iso_date(doubtful, False)}",
                   f"day first: {sheet_words.iso_date(doubtful, True)}"]  # fmt: skip
        for said in ("month first", "day first"):  # as the last file was
            if said in self._answers.all:
                self._answers.used.add(said)
                return said.startswith("day")
        chosen = self._answers.choose(f"{doubtful} is which day?", options)
        return chosen.startswith("day")

    def row(self, line: int, cells: Sequence[str]) -> list[str]:
        """Return the cells of a row as a paper log writes them, the cut first."""
        out = [""]
        for column in self._matched:
            try:
                value = self._read(column, _cell(cells, column.place))
            except QuantityError as fault:
                where = reference(line, column.place)
                self.faults.append(
                    RowFault(line, f"{self._name}: {where} ({column.title}): {fault}")
                )
                self.bad.add(line)
                value = ""
            if column.name == "cut":
                out[0] = value
            else:
                out.append(value)
        if not out[0] and line not in self.bad:
            out[0] = self._default_cut()
        return out

    def _default_cut(self) -> str:
        if self._cut is None:
            self._cut = self._answers.choose("no cut is named: which is it?", tuple(CUTS))
        return self._cut

    def _read(self, column: Matched, cell: str) -> str:
        if not cell:
            return ""
        if column.name == "date":
            return sheet_words.iso_date(cell, self._days_first)
        if column.name == "cut":
            return self._which_cut(cell)
        if column.name in WEIGHABLE:
            return self._mass(cell, column.unit)
        if column.name.startswith("price"):
            return _decimal(cell.lstrip("$€£ ").rstrip("$€£ "))
        if column.name == "pull_at" and re.fullmatch(r"[\d.]+", cell):
            return f"{cell}F" if float(cell) > 120 else f"{cell}C"
        return cell

    def _which_cut(self, cell: str) -> str:
        meant = sheet_words.cuts_meant(cell)
        if not meant:
            raise QuantityError(unknown("cut", cell, CUTS))
        if len(meant) == 1:
            return meant[0]
        return self._answers.choose(f"'{cell.casefold()}' is which cut?", meant)

    def _mass(self, cell: str, unit: str | None) -> str:
        text = _decimal(cell.replace("#", " lb"))
        if text.startswith("-"):
            raise QuantityError(f"'{cell}' is below zero: a weighing of meat is above zero")
        if re.fullmatch(r"[\d.]+", text):
            if unit is None and self._unit is None:
                self._unit = self._answers.choose(
                    f"{cell} has no unit: masses of this file are in", sheet_words.UNITS
                )
            text = f"{text} {unit or self._unit}"
        written_mass(text)
        return text


def _cell(cells: Sequence[str], place: int) -> str:
    return cells[place].strip() if place < len(cells) else ""


def _decimal(text: str) -> str:
    """Return a number with a decimal point where it was written with a comma."""
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?\s*[A-Za-z]*", text):
        return text.replace(",", "")
    return re.sub(r"^(\d+),(\d+)", r"\1.\2", text)
