"""``replay --infer``: marks of the capture left out, stages found by what the channels say."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli.records.replay import replay
from tests.inference.made import START_S, Made

MARKED = (
    '[{{"n": "brisket-1/stage", "vs": "smoking", "t": {t}}}]',
    (
        '[{{"n": "journal", "t": {t}, "vs": "{{\\"kind\\": \\"stage-set\\", \\"piece\\": '
        '\\"brisket-1\\", \\"stage\\": \\"smoking\\", \\"at_ms\\": {ms}}}"}}]'
    ),
)


def replayed(folder: Path, made: Made, *more: str, lines: list[str] | None = None) -> Any:
    (folder / "cook.toml").write_text(made.cook())
    (folder / "cook.senml").write_text("\n".join(lines or made.lines()) + "\n")
    said = CliRunner().invoke(
        replay, [str(folder / "cook.senml"), "--cook", str(folder / "cook.toml"), "--json", *more]
    )
    assert said.exit_code == 0, said.output
    return json.loads(said.stdout)


def seconds(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_whole_cook_is_recognised_within_five_minutes(tmp_path: Path, seed: int) -> None:
    made = Made(seed)
    rows = replayed(tmp_path, made, "--infer")["stages"]
    assert [row["stage"] for row in rows][:3] == ["smoking", "wrapped", "resting"]
    for row in rows[:3]:
        assert abs(seconds(row["from"]) - made.truth[row["stage"]]) < 300, row
        assert row["source"] == "inferred"
        assert 0.5 < row["p"] <= 1


def test_without_infer_nothing_is_recognised(tmp_path: Path) -> None:
    assert replayed(tmp_path, Made())["stages"] == []


@pytest.mark.parametrize("form", MARKED)
def test_marks_of_the_capture_are_left_out(tmp_path: Path, form: str) -> None:
    made = Made()
    lines = made.lines()
    t = START_S + 60
    lines.insert(6, form.format(t=t, ms=t * 1000))
    told = replayed(tmp_path, made, lines=lines)["stages"]
    assert [(row["stage"], row["source"], row["p"]) for row in told] == [
        ("smoking", "person", None)
    ]
    rows = replayed(tmp_path, made, "--infer", lines=lines)["stages"]
    assert all(row["source"] == "inferred" for row in rows)
    assert abs(seconds(rows[0]["from"]) - made.truth["smoking"]) < 300


def test_a_bare_piece_is_never_wrapped(tmp_path: Path) -> None:
    rows = replayed(tmp_path, Made(wrap_c=None), "--infer")["stages"]
    assert [row["stage"] for row in rows][:2] == ["smoking", "resting"]
