"""Sheets as one HTML file each: styles and pictures inline, black on white, made to be printed."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from pitlogger.reports.sheet import Sheet
from pitlogger.views.pages import environment


def html(sheet: Sheet) -> str:
    """Return a sheet as an HTML document; whatever a name holds, it is shown as text."""
    blocks = [(type(block).__name__, block) for block in sheet.blocks]
    return _templates().get_template("sheet.html").render(sheet=sheet, blocks=blocks)


@cache
def _templates() -> Environment:
    made = environment(PackageLoader("pitlogger.reports"))
    made.filters["svg"] = _svg
    return made


def _svg(text: str) -> Markup:
    """Return an SVG made by this package as it is: its own texts are escaped where it is made."""
    return Markup(text[text.index("<svg") :])  # noqa: S704
