"""Every command that a text or a page names is one that there is."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest

from pitlogger import cli

ROOT = Path(__file__).parents[2]
FOLDERS = ("pitlogger", "drivers", "simulators", "docs", "config", "packaging")
ENDINGS = {".py", ".md", ".toml", ".html", ".js", ".po", ".rules", ".service", ""}
# As code: in quotes or backticks, after sudo or a prompt, as an indented line, after a colon.
NAMED = re.compile(
    r"(?:[`']|sudo (?:/opt/pitlogger/bin/)?|\$ |^ {4,}|: |&& )pitlogger((?: [a-z][a-z-]*)+)",
    re.MULTILINE,
)
PROSE = {
    "is", "runs", "was", "has", "waits", "the", "as", "a", "and", "to", "speaks", "says", "reads",
    "starts", "needs", "does", "will", "tries", "keeps", "developers",
}  # fmt: skip


def texts() -> Iterator[Path]:
    yield from (ROOT / "README.md", ROOT / "DEVELOPERS.md")
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.is_file() and path.suffix in ENDINGS and "__pycache__" not in path.parts:
                yield path


@cache
def command(*words: str) -> click.Command | None:
    """Return the command that words name, ``None`` where there is none."""
    found: click.Command = cli.root
    context = click.Context(found)
    for word in words:
        if not isinstance(found, click.Group):
            break
        inner = found.get_command(context, word)
        if inner is None:
            return None
        found, context = inner, click.Context(inner, parent=context)
    return found


def unknown(text: str) -> Iterator[str]:
    """Yield the commands of a text that there are not."""
    joined = re.sub(r'"\s*\n\s*f?"', "", text)  # a message over several lines of code
    for match in NAMED.finditer(joined):
        words = match[1].split()
        if words[0] in PROSE and command(words[0]) is None:
            continue
        named = f"pitlogger {' '.join(words)}"
        if command(*words) is None:
            yield named


@pytest.mark.parametrize("path", list(texts()), ids=lambda path: str(path.relative_to(ROOT)))
def test_every_command_named_is_one_there_is(path: Path) -> None:
    assert not list(unknown(path.read_text(encoding="utf-8", errors="replace")))


def test_a_command_that_is_not_there_is_found() -> None:
    assert list(unknown("Then `pitlogger devices find` them")) == ["pitlogger devices find"]
    assert list(unknown('remedy="See: "\n    "pitlogger devices serch"')) == [
        "pitlogger devices serch"
    ]
    assert not list(unknown("`pitlogger devices scan` and: pitlogger devices doctor"))
