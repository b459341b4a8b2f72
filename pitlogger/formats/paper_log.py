"""Paper logs and spreadsheets: one row a piece, masses by checkpoint (CSV, XLSX).

Columns: ``date``, ``cook``, ``piece``, ``cut``, any checkpoint, by-product or added mass by
its name, ``price_per_lb`` or ``price_per_kg``, ``wrap``, ``pull_at``, ``notes``; also
``count``, ``supplier``, ``grade``, ``pit``, ``guests`` (booked), and of the meal ``came``, ``left``
(a mass) and ``tender`` (1 to 5). A mass cell carries its unit
(``14.2 lb``, ``13 lb 7 oz``) or the header does (``purchased_kg``).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import TypeVar

from pitlogger.errors import QuantityError, UsageError, unknown
from pitlogger.files import refuse_device
from pitlogger.formats.workbook import MOST_ROWS, SHEET, WorkbookTable, rows_of_workbook
from pitlogger.formats.written_mass import (
    ALIASES,
    WrittenMass,
    checkpoint_name,
    written_mass,
)
from pitlogger.model.cooks import CUTS, WEIGHABLE, WRAPS
from pitlogger.model.quantities import (
    MG_PER,
    parse_decimal,
    parse_mass_mg,
    parse_temperature_mc,
)
from pitlogger.questions import NO_ANSWERS, Answers

Mass = TypeVar("Mass")
_UNITS = ("kg", "g", "lb", "oz")
_PLAIN = ("date", "cook", "piece", "cut", "wrap", "pull_at", "notes", "count", "supplier",
          "grade", "pit", "guests", "came", "left", "tender", "price_per_lb",
          "price_per_kg")  # fmt: skip
_MASS_HEADER = re.compile(rf"(.+?)[_ ](?:\(?({'|'.join(_UNITS)})\)?)")


@dataclass(frozen=True, slots=True)
class PaperRow:
    """One piece as a row tells it; ``line`` is where it stands in its file."""

    line: int
    piece: str
    cut: str
    date: str = ""
    cook: str = ""
    count: int = 1
    masses: dict[str, WrittenMass] = field(default_factory=dict)
    price_per_kg: Decimal | None = None
    wrap: str | None = None
    pull_at_mc: int | None = None
    supplier: str | None = None
    grade: str | None = None
    pit: str | None = None
    guests: int | None = None
    came: int | None = None
    left_mg: int | None = None
    tender: int | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class RowFault:
    """A row that cannot be read; the message starts with ``file:line``."""

    line: int
    message: str


@dataclass(frozen=True, slots=True)
class PaperLog:
    """What a file holds: rows read, rows that could not be, columns that mean nothing here."""

    name: str
    rows: tuple[PaperRow, ...]
    faults: tuple[RowFault, ...] = ()
    ignored: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What is to be said of the file: the columns that are not read."""
        if not self.ignored:
            return ()
        return (f"{self.name}: columns not read: {', '.join(self.ignored)}.",)

    def all_rows(self) -> tuple[PaperRow, ...]:
        """Return the rows, if every one could be read.

        Raises:
            UsageError: Some could not; each is named with its line.
        """
        if self.faults:
            raise UsageError("\n".join(fault.message for fault in self.faults))
        return self.rows


_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet takes for one (OWASP)


def guarded(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula; ``unguarded`` undoes it."""
    return f"'{cell}" if cell.startswith(_FORMULA) else cell


def unguarded(cell: str) -> str:
    """Return a cell as it was before ``guarded``."""
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULA) else cell


MOST_BYTES = 10_000_000


def read_paper_log(path: Path, answers: Answers = NO_ANSWERS) -> PaperLog:
    """Read a CSV or XLSX file; raises like ``table_of``."""
    table = table_of(path, answers)
    return parse_table(table.lines, table.name)


def table_of(path: Path, answers: Answers = NO_ANSWERS) -> WorkbookTable:
    """Return the rows of a CSV or XLSX file.

    Raises:
        UsageError: No such file, no header, an encoding that is not UTF-8, or an XLSX
            file without the extra ``pitlogger[sheets]``.
        QuestionError: A workbook has several sheets that could be meant.
    """
    try:
        refuse_device(path)
        if (size := path.stat().st_size) > MOST_BYTES:
            raise UsageError(
                f"{path}: {size / 1e6:.0f} MB; expected at most {MOST_BYTES / 1e6:.0f} MB, which is"
                " a lifetime of cooks: cut it into several files"
            )
        data = path.read_bytes()
    except OSError as fault:
        raise UsageError(
            f"{path}: cannot be read ({fault.strerror}); give a .csv or .xlsx file"
        ) from None
    return table_in(data, path.name, answers)


def table_in(data: bytes, name: str, answers: Answers = NO_ANSWERS) -> WorkbookTable:
    """Return the rows of the bytes of a file; its name tells what it is."""
    if name.casefold().endswith((".xlsx", ".xlsm")):
        return rows_of_workbook(data, name, answers)
    if wanted := next((one for one in answers.given if one.startswith(SHEET)), None):
        raise UsageError(f"{name}: is one table, without sheets; given '{wanted}'")
    return WorkbookTable(_lines(data, name), name)


def parse_paper_log(data: bytes, name: str = "paper log") -> PaperLog:
    """Read the bytes of a CSV file; the delimiter is a comma, semicolon or tab."""
    return parse_table(_lines(data, name), name)


def _lines(data: bytes, name: str) -> list[tuple[int, Sequence[str]]]:
    text = _decoded(data, name)
    first = text.split("\n", 1)[0]
    head = first if any(mark in first for mark in ",;\t") else text[:2000]  # a title comes first
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines: list[tuple[int, Sequence[str]]] = []
    try:
        for cells in reader:
            lines.append((reader.line_num, [unguarded(cell) for cell in cells]))
            if len(lines) > MOST_ROWS:
                raise UsageError(f"{name}: more than {MOST_ROWS} rows: cut it into several files")
    except csv.Error as fault:
        raise UsageError(f"{name}:{reader.line_num}: not CSV ({fault}); check the quotes") from None
    return lines


def _decoded(data: bytes, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise UsageError(
            f"{name}:{line}: byte 0x{data[fault.start]:02x} is not UTF-8; "
            "save the file as CSV UTF-8 and try again"
        ) from None


def parse_table(lines: Iterable[tuple[int, Sequence[str]]], name: str) -> PaperLog:
    """Read rows of cells, the first of them the header.

    Raises:
        UsageError: No header, no ``cut`` column, a column given twice, or one whose name
            is nearly a known one.
    """
    table = [(line, cells) for line, cells in lines if any(cell.strip() for cell in cells)]
    if not table:
        raise UsageError(f"{name}:1: empty; expected a header row such as date,cut,purchased")
    header_line, header = table[0]
    columns, ignored = _columns(header, f"{name}:{header_line}")
    rows: list[PaperRow] = []
    faults: list[RowFault] = []
    for line, cells in table[1:]:
        try:
            rows.append(_row(line, cells, columns, len(header)))
        except QuantityError as fault:
            faults.append(RowFault(line, f"{name}:{line}: {fault}"))
    return PaperLog(name, tuple(rows), tuple(faults), tuple(ignored))


@dataclass(frozen=True, slots=True)
class _Column:
    place: int
    name: str
    title: str
    unit: str | None = None


def _columns(header: Sequence[str], where: str) -> tuple[list[_Column], list[str]]:
    columns: list[_Column] = []
    ignored: list[str] = []
    for place, cell in enumerate(header):
        title = cell.strip()
        column = _column(place, title, where)
        if column is None:
            ignored.extend([title] if title else [])
        elif any(column.name == other.name for other in columns):
            raise UsageError(f"{where}: two columns for '{column.name}'; keep one")
        else:
            columns.append(column)
    if not any(column.name == "cut" for column in columns):
        raise UsageError(
            f"{where}: no column 'cut'; expected a header such as date,piece,cut,purchased,carved"
        )
    return columns, ignored


def _column(place: int, title: str, where: str) -> _Column | None:
    plain = re.sub(r"[\s-]+", "_", title.casefold())
    if plain in _PLAIN:
        return _Column(place, plain, title)
    for word, unit in ((title, None), *_with_unit(title)):
        if word == "left":
            return _Column(place, "left", title, unit)
        try:
            return _Column(place, checkpoint_name(word), title, unit)
        except QuantityError:
            continue
    # A column of the person's own is left alone, a slip of the pen is not.
    meant = get_close_matches(plain, (*_PLAIN, *WEIGHABLE, *ALIASES), n=1, cutoff=0.8)
    if meant:
        raise UsageError(
            f"{where}: unknown column '{title}' (did you mean '{meant[0]}'?); rename or remove it"
        )
    return None


def _with_unit(title: str) -> list[tuple[str, str]]:
    match = _MASS_HEADER.fullmatch(title.casefold().strip())
    return [(match[1], match[2])] if match else []


def _row(line: int, cells: Sequence[str], columns: Sequence[_Column], width: int) -> PaperRow:
    if len(cells) < len(columns) and len(cells) <= max(column.place for column in columns):
        cells = [*cells, *[""] * (max(column.place for column in columns) + 1 - len(cells))]
    if any(cell.strip() for cell in cells[width:]):
        raise QuantityError(
            f"{len(cells)} cells, but the header names {width} columns. A comma inside a cell? "
            "Quote the cell, and write decimals with a point"
        )
    found = {c.name: (c, cells[c.place].strip()) for c in columns if cells[c.place].strip()}
    masses = {
        name: _mass(cell, column) for name, (column, cell) in found.items() if name in WEIGHABLE
    }
    _check_share(masses)

    def text(name: str) -> str:
        return found[name][1] if name in found else ""

    return PaperRow(
        line,
        piece=text("piece") or f"piece-{line}",
        cut=_known(text("cut"), "cut", CUTS),
        date=_date(text("date")),
        cook=text("cook"),
        count=_whole(text("count"), "count") or 1,
        masses=masses,
        price_per_kg=_price(text("price_per_kg"), text("price_per_lb")),
        wrap=_known(text("wrap"), "wrap", WRAPS) if text("wrap") else None,
        pull_at_mc=parse_temperature_mc(text("pull_at")) if text("pull_at") else None,
        supplier=text("supplier") or None,
        grade=text("grade") or None,
        pit=text("pit") or None,
        guests=_whole(text("guests"), "guests"),
        came=_whole(text("came"), "came", least=0),
        left_mg=_left_mg(*found["left"]) if "left" in found else None,
        tender=_mark(text("tender")),
        notes=text("notes"),
    )


def _mass(cell: str, column: _Column) -> WrittenMass:
    return _in_column(written_mass, cell, column)


def _left_mg(column: _Column, cell: str) -> int:
    """Return what was left over: unlike a weighing it may be nothing."""
    return 0 if cell == "0" else _in_column(parse_mass_mg, cell, column)


def _in_column(read: Callable[[str], Mass], cell: str, column: _Column) -> Mass:
    bare = re.fullmatch(r"[\d.]+", cell) is not None
    try:
        mass = read(f"{cell} {column.unit}" if bare and column.unit else cell)
    except QuantityError as fault:
        raise QuantityError(f"column '{column.title}': {fault}") from None
    if column.unit and not bare and not re.search(rf"{column.unit}s?\.?$", cell.casefold()):
        raise QuantityError(
            f"column '{column.title}' says {column.unit}, but the cell says '{cell}'"
        )
    return mass


def _check_share(masses: dict[str, WrittenMass]) -> None:
    """Refuse a yield above 1: more served than bought can be no weighing of one piece."""
    if "purchased" not in masses:
        return
    for served in ("carved", "rested"):
        if served in masses and masses[served].mass_mg >= masses["purchased"].mass_mg:
            raise QuantityError(
                f"{served} {masses[served].mass_mg / 1000:.0f} g is not below purchased "
                f"{masses['purchased'].mass_mg / 1000:.0f} g; check tare and unit of both"
            )


def _known(word: str, what: str, known: Iterable[str]) -> str:
    plain = word.casefold().replace(" ", "-").replace("_", "-")
    if not plain:
        raise QuantityError(f"no {what} given; expected one such as {next(iter(known))}")
    if plain not in known:
        raise QuantityError(unknown(what, word, known))
    return plain


def _date(cell: str) -> str:
    if not cell:
        return ""
    try:
        return date.fromisoformat(cell).isoformat()
    except ValueError:
        raise QuantityError(
            f"'{cell}' is not a date: write year-month-day, such as 2026-05-30"
        ) from None


def _whole(cell: str, what: str, least: int = 1) -> int | None:
    if not cell:
        return None
    if not re.fullmatch(r"\d{1,9}", cell) or int(cell) < least:
        above = "above zero " if least else ""
        raise QuantityError(f"'{cell}' is not a whole number {above}({what})")
    return int(cell)


def _mark(cell: str) -> int | None:
    if cell and cell not in ("1", "2", "3", "4", "5"):
        raise QuantityError(f"'{cell}' is no mark of tenderness: expected 1 (tough) to 5")
    return int(cell) if cell else None


def _price(per_kg: str, per_lb: str) -> Decimal | None:
    if per_kg and per_lb:
        raise QuantityError("price_per_kg and price_per_lb are both given; keep one")
    if not (per_kg or per_lb):
        return None
    price = parse_decimal((per_kg or per_lb).lstrip("$€£ "), "price")
    if price < 0:
        raise QuantityError(f"price {price} is below zero")
    return price if per_kg else price * 1_000_000 / MG_PER["lb"]
