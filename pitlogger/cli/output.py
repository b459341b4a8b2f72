"""How commands print facts: one JSON document, or text for people."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

ALARM_ACTIVE = 4
NOT_DURABLE = (
    "kept in memory, not yet on disk: `pitlogger status` says what is wrong; it is written when"
    " the disk takes it. Asked again meanwhile, it is the same one"
)

json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
by_option = click.option("--by", default="", metavar="INITIALS", help="Who decides or measures.")


def disposed_options(command: Any) -> Any:
    """Add the options that say why food was kept, or what it was reheated to."""
    for option in (
        click.option("--with", "probe", metavar="PROBE", help="With which probe it was read."),
        click.option("--reading", metavar="TEMPERATURE", help="What food that was reheated read."),
        click.option("--reason", default="", help="Why food was kept."),
    ):
        command = option(command)
    return command


def say_alone() -> None:
    """Keep libraries and devices from logging what the command says itself."""
    for name in ("pitlogger", "bleak"):
        logging.getLogger(name).addHandler(logging.NullHandler())


def emit(document: Any, as_json: bool, text: str) -> None:
    """Print ``document`` as JSON, or ``text``."""
    if as_json:
        click.echo(json.dumps(document, ensure_ascii=False, default=_plain))
    else:
        click.echo(printable(text))
    if isinstance(document, dict) and document.get("durable") is False:
        click.echo(NOT_DURABLE, err=True)
        click.get_current_context().exit(ALARM_ACTIVE)


def printable(text: str) -> str:
    """Return a text without what would steer a terminal: names come from the air."""
    return "".join(char if char.isprintable() or char in "\n\t" else "\ufffd" for char in text)


def _plain(value: object) -> Any:
    if isinstance(value, Decimal):
        return float(value)
    raise TypeError(f"{type(value).__name__} has no JSON form here")


def table(rows: list[list[str]], heads: list[str]) -> str:
    """Return rows as aligned columns, the first to the left and numbers to the right."""
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    lines = []
    for row in [heads, *rows]:
        cells = [
            cell.ljust(width) if index == 0 or not _is_number(cell) else cell.rjust(width)
            for index, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def _is_number(cell: str) -> bool:
    return bool(cell) and (cell[0].isdigit() or cell[0] in "+-.")
