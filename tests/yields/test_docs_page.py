"""The page on yield and plan: its commands run, its keys exist, its pictures are current."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli import root
from pitlogger.reports.pictures import enough_curve, yield_strip

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "yield-and-plan.md").read_text("utf-8")
COMMANDS = re.findall(r"^\$ pitlogger (.+)$", PAGE, re.MULTILINE)
LOG = "date,cook,piece,cut,purchased,carved,wrap\n" + "".join(
    f"2026-03-{day:02d},c{day},b,brisket-packer,6.4 kg,{grams} g,{wrap}\n"
    for day, grams, wrap in [
        (1, 3085, "paper"), (8, 3270, "paper"), (15, 2989, "foil"), (22, 3187, "paper"),
        (29, 3360, "paper"), (30, 2938, "foil"),
    ]
)  # fmt: skip


@pytest.fixture(autouse=True)
def kitchen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Work where the files that the page names lie."""
    monkeypatch.chdir(tmp_path)
    Path("paper-log.csv").write_text(LOG, encoding="utf-8")


def run(command: str) -> Any:
    result = CliRunner().invoke(root, [*shlex.split(command), "--json"], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_page_runs_as_text_and_as_json(command: str) -> None:
    result = CliRunner().invoke(root, shlex.split(command), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    assert result.output.strip()
    assert run(command)


def test_the_library_answers_as_the_page_shows(capsys: pytest.CaptureFixture[str]) -> None:
    (program,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    exec(compile(program, "docs", "exec"), {})
    command = run("plan --guests 45 --portion 140g --cut brisket-packer --history paper-log.csv")
    assert f"buy {command['recommended']} pieces" in capsys.readouterr().out


def keys_of(value: Any) -> set[str]:
    if isinstance(value, dict):
        return {*value, *(key for inner in value.values() for key in keys_of(inner))}
    if isinstance(value, list):
        return {key for inner in value for key in keys_of(inner)}
    return set()


@pytest.mark.parametrize("command", [c for c in COMMANDS if c.startswith(("price", "schedule"))])
def test_every_key_of_price_and_schedule_is_on_the_page(command: str) -> None:
    told = set(re.findall(r"[a-z0-9_]+", PAGE))
    assert keys_of(run(command)) - told - {"part", "price_per_kg", "value", "spent"} == set()


def test_the_keys_of_history_are_on_the_page() -> None:
    document = run("history --history paper-log.csv")
    told = set(re.findall(r"[a-z0-9_]+", PAGE))
    assert {*document, *document["pieces"][0], *document["cuts"][0]} - told == set()


def pictures() -> dict[str, str]:
    past = run("history --cut brisket-packer --history paper-log.csv")
    shares = [piece["servable_pct"] for piece in past["pieces"]]
    plan = run("plan --guests 100 --portion 5oz --cut brisket-packer --history paper-log.csv")
    return {
        "yield-strip.svg": yield_strip("brisket-packer", shares, past["cuts"][0]["learned"]),
        "enough-curve.svg": enough_curve(plan),
    }


def test_the_pictures_of_the_page_are_current() -> None:
    for name, drawn in pictures().items():
        assert (DOCS / "pictures" / name).read_text("utf-8") == drawn, name


def test_pictures_can_be_read_without_seeing_them() -> None:
    for drawn in pictures().values():
        assert "<title" in drawn
        assert "<desc" in drawn
