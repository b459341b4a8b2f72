"""Sheets as PDF, through the extra ``pdf`` (typst), which brings its own fonts."""

from __future__ import annotations

import re
from typing import Any

from pitlogger.errors import PitloggerError
from pitlogger.reports.sheet import Block, Facts, Heading, Lines, Picture, Sheet, Table

_SET = """#set page(paper: "us-letter", margin: (x: 12mm, y: 10mm), footer: none)
#set text(size: {size}pt, lang: "en")
#set par(leading: 0.45em, spacing: 0.5em)
#set table(
  stroke: (x, y) => (bottom: if y == 0 {{ 1.2pt }} else {{ 0.4pt }}),
  inset: (x: 2pt, y: 2.2pt))
#show table.cell.where(y: 0): strong
"""


def pdf(sheet: Sheet) -> bytes:
    """Return a sheet as a PDF document.

    Raises:
        PitloggerError: The extra is not installed.
    """
    try:
        import typst
    except ImportError:
        raise PitloggerError(
            "PDF needs the package typst, which is not installed: uv tool install"
            " 'pitlogger[pdf]', or print the HTML form to PDF from any browser"
        ) from None
    pictures = [block for block in sheet.blocks if isinstance(block, Picture)]
    files = {"main": markup(sheet).encode()}
    files |= {f"picture-{n}.svg": picture.svg.encode() for n, picture in enumerate(pictures)}
    compiled: Any = typst.compile  # takes files by name too, which its types do not say
    made: bytes = compiled(files, ignore_system_fonts=True)
    return made


def markup(sheet: Sheet) -> str:
    """Return a sheet as Typst markup; pictures are files named ``picture-0.svg`` and so on."""
    numbers = iter(range(len(sheet.blocks)))
    parts = [
        _SET.format(size=7.5 if sheet.small else 10.5),
        f"#set document(title: {_string(sheet.title)})",
        f"#text(size: 1.7em, weight: {_string('bold')}, {_string(sheet.title)})",
        "#v(-0.3em)\n#line(length: 100%)\n#v(-0.2em)",
        _line(sheet.about) if sheet.about else "",
    ]
    for block in sheet.blocks:
        number = next(numbers) if isinstance(block, Picture) else 0
        parts.append(_block(block, number))
    parts.append("#line(length: 100%)\n#v(-0.4em)")
    parts += [_line(line) for line in sheet.foot]
    return "\n".join(part for part in parts if part) + "\n"


def _string(text: str) -> str:
    """Return a text as a Typst string: nothing in it is ever read as markup or code."""
    cleaned = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", "", text)
    escaped = cleaned.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def _line(text: str, more: str = "") -> str:
    return f"#par(text({more}{_string(text)}))"


def _block(block: Block, number: int) -> str:
    match block:
        case Heading(text):
            return f'#v(0.3em)\n#par(text(size: 1.15em, weight: "bold", {_string(text)}))'
        case Facts(rows):
            cells = ", ".join(f"strong({_string(name)}), {_string(value)}" for name, value in rows)
            return f"#grid(columns: (auto, 1fr), gutter: 0.5em, {cells})"
        case Lines(texts, big):
            more = 'size: 1.5em, weight: "bold", ' if big else ""
            return "\n".join(_line(text, more) for text in texts)
        case Picture(_, described, width_mm):
            alt = _string(described)
            return f'#image("picture-{number}.svg", width: {width_mm}mm, alt: {alt})'
        case Table():
            return _table(block)


def _table(table: Table) -> str:
    columns = len(table.heads)
    align = ", ".join("right" if column in table.numbers else "left" for column in range(columns))
    cells = [f"table.header({', '.join(_string(head) for head in table.heads)})"]
    for number, row in enumerate(table.rows):
        struck = number in table.struck
        cells += [f"strike({_string(cell)})" if struck else _string(cell) for cell in row]
        if table.blank:  # to be written in: as tall as the empty ones
            cells[-columns] = f"box(height: 1.6em, {_string(row[0])})"
    cells += ["box(height: 1.6em)"] * (table.blank * columns)
    widths = ", ".join(["1fr" if table.blank else "auto"] * columns)
    caption = f"#par(emph({_string(table.caption)}))\n" if table.caption else ""
    return (
        f"{caption}#table(columns: ({widths},), align: ({align},),\n  " + ",\n  ".join(cells) + ")"
    )
