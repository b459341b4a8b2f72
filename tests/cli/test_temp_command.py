"""What is typed after ``temp``: below zero, with a space, with a double dash, misspelt options."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger import cli

NONE_THERE = "no daemon answers"


@pytest.mark.parametrize(
    "words",
    [
        "b -60F --by AB",
        "b -- -60F --by AB",
        "b --by AB -- -60F",
        "--by AB b -12.5 C",
        "b 203 F",
        "cold -2F",
    ],
)
def test_a_temperature_is_read_wherever_it_stands(words: str, tmp_path: Path) -> None:
    ran = CliRunner().invoke(cli.root, ["temp", *words.split(), "--socket", str(tmp_path / "no")])
    assert ran.exit_code != 0
    assert NONE_THERE in f"{ran.output}{ran.exception}"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("b --bye AB 20F", "--bye"),
        ("b -60", "no unit"),
        ("b -60F -x", "is not a temperature"),
        ("b", "TEMPERATURE"),
    ],
)
def test_what_cannot_be_read_is_named(words: str, told: str, tmp_path: Path) -> None:
    ran = CliRunner().invoke(cli.root, ["temp", *words.split(), "--socket", str(tmp_path / "no")])
    assert ran.exit_code != 0
    assert told in f"{ran.output}{ran.exception}"
    assert NONE_THERE not in f"{ran.output}{ran.exception}"
