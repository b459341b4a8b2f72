"""No command line in any text of the page: a command becomes a place, an option goes."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.web.page.plain_words import plain
from tests.docs.test_commands import ROOT, command

# What a terminal reads and a page never shows.
TERMINAL = ("cli", "testing", "__main__.py")
NAMED = re.compile(r"\bpitlogger ([a-z]+)")
SHELL = re.compile(r"\bsudo\b|\bsystemctl\b|(?<!\S)--[a-z]|\$[A-Z]")


def _names_a_command(text: str) -> bool:
    return bool(SHELL.search(text)) or any(command(found[1]) for found in NAMED.finditer(text))


def _literal(node: ast.expr) -> str:
    """Return what a text says, with a name for what is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(_literal(part) for part in node.values)
    return "brisket-1" if isinstance(node, ast.FormattedValue) else ""


def _messages() -> Iterator[str]:
    """Yield what errors, questions and remedies of the product may say to a person."""
    for path in sorted((ROOT / "pitlogger").rglob("*.py")):
        if path.relative_to(ROOT / "pitlogger").parts[0] in TERMINAL or path.stem == "plain_words":
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        parts = {id(part) for one in ast.walk(tree) if isinstance(one, ast.JoinedStr)
                 for part in one.values}  # fmt: skip
        yield from (
            text
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in parts
            if " " in (text := _literal(node)) and "``" not in text and _names_a_command(text)
        )


def test_no_message_keeps_its_commands() -> None:
    found = sorted(set(_messages()))
    assert len(found) > 50
    kept = {text: plain(text) for text in found if _names_a_command(plain(text))}
    assert not kept


@pytest.mark.parametrize(
    ("message", "said"),
    [
        (
            "Check that the right driver is named for it: pitlogger devices scan",
            "Check that the right driver is named for it: Look for devices, under Settings.",
        ),
        (
            "Pair it once: pitlogger devices pair ADDRESS (or its name)",
            "Pair it once: Pair with it, under Settings, Look for devices.",
        ),
        (
            "Push the plug home; take a hand reading with `pitlogger temp` meanwhile.",
            "Push the plug home; take a hand reading with Temp meanwhile.",
        ),
        ("no cook is running: start one with 'pitlogger cook start FILE'", "No cook is running."),
        ("say why (--reason): whoever plans from this later will ask",
         "Say why: whoever plans from this later will ask."),
        ("0 discarded is no mass: leave --mass out where all of it was discarded",
         "0 discarded is no mass."),
        ("pitlogger is a record and a reminder", "Pitlogger is a record and a reminder."),
        ("brisket-1 is wrapped", "brisket-1 is wrapped."),
    ],
)  # fmt: skip
def test_a_command_becomes_a_place(message: str, said: str) -> None:
    assert plain(message) == said


@pytest.mark.parametrize(
    "path",
    sorted((ROOT / "pitlogger" / "web" / "templates").glob("*.html")),
    ids=lambda path: path.name,
)
def test_no_screen_names_a_command(path: Path) -> None:
    without = re.sub(r"\{[%#].*?[%#]\}|var\(--", "", path.read_text(encoding="utf-8"), flags=re.S)
    assert not _names_a_command(without)
