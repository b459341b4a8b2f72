"""``pitlogger simulate`` on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli import root
from pitlogger.errors import UsageError
from pitlogger_simulators.scenarios.scenario import names


def simulate(*arguments: str) -> Result:
    return CliRunner().invoke(root, ["simulate", *arguments])


def test_the_list_describes_every_scenario() -> None:
    document = json.loads(simulate("--list", "--json").stdout)
    assert [row["name"] for row in document["scenarios"]] == names()
    assert all(row["title"] and row["about"] and row["pieces"] for row in document["scenarios"])


def test_the_list_for_people_has_a_line_each() -> None:
    lines = simulate("--list").stdout.splitlines()
    assert len(lines) == len(names()) + 1


def test_a_scenario_is_written_with_its_cook_file_and_truth(tmp_path: Path) -> None:
    out, truth = tmp_path / "a.senml", tmp_path / "truth.jsonl"
    answer = simulate("chicken", "--out", str(out), "--truth", str(truth), "--seed", "5", "--json")
    assert answer.exit_code == 0, answer.output
    document = json.loads(answer.stdout)
    assert document["done"] is True
    assert document["capture"] == str(out)
    assert Path(document["cook"]).exists()
    assert truth.exists()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "name a scenario"),
        (("chicken",), "--out"),
        (("chicken", "--out", "x.senml", "--speed", "fast"), "expected a number above 0"),
    ],
)
def test_what_is_missing_is_said(arguments: tuple[str, ...], told: str) -> None:
    answer = simulate(*arguments)
    assert answer.exit_code == 2
    assert told in answer.output


def test_an_unknown_scenario_is_a_usage_error(tmp_path: Path) -> None:
    answer = simulate("chickn", "--out", str(tmp_path / "a.senml"))
    assert isinstance(answer.exception, UsageError)
    assert "did you mean 'chicken'" in str(answer.exception)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    answer = simulate("chicken", "--out", str(tmp_path / "no" / "a.senml"))
    assert isinstance(answer.exception, UsageError)
    assert "cannot be written" in str(answer.exception)


def test_capture_and_truth_cannot_be_one_file(tmp_path: Path) -> None:
    out = tmp_path / "a.senml"
    for truth in (out, tmp_path / "a.toml"):
        answer = simulate("chicken", "--out", str(out), "--truth", str(truth))
        assert isinstance(answer.exception, UsageError)
        assert "has that name" in str(answer.exception)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("pti.set=250F", "did you mean 'pit'"),
        ("pit.sett=250F", "did you mean 'set'"),
        ("pit.kind=charcol", "did you mean 'charcoal'"),
        ("device.bench.kind=serial-scal", "did you mean 'serial-scale'"),
        ("fault.amount=2", "known: 0, 1"),
        ("fault.9.amount=2", "known: 0, 1"),
        ("seed=soon", "no whole number"),
        ("seed", "key=value"),
    ],
)
def test_a_change_that_cannot_be_made_is_named(change: str, told: str, tmp_path: Path) -> None:
    answer = simulate("probe-failure", "--out", str(tmp_path / "a.senml"), "--set", change)
    assert isinstance(answer.exception, UsageError)
    assert told in str(answer.exception)
    assert list(tmp_path.iterdir()) == []
