"""The page on the job: its file is read, its commands run, in their order."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli import root
from pitlogger.formats.job_file import parse_job
from pitlogger.planning.job.calculation import answer_job
from pitlogger.questions import QuestionError

PAGE = (Path(__file__).parents[2] / "docs" / "job.md").read_text("utf-8")


def test_the_file_of_the_page_is_answered() -> None:
    (text,) = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    made = answer_job(parse_job(text, "docs"))
    assert not made.assumed
    assert made.p_all_enough >= 0.99


def test_the_commands_of_the_page_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for command in re.findall(r"^\$ pitlogger (.+)$", PAGE, re.MULTILINE):
        args = shlex.split(command)
        done = CliRunner().invoke(root, args)
        if isinstance(done.exception, QuestionError):
            args += ["--confirm", done.exception.asked.confirm]
            done = CliRunner().invoke(root, args)
        assert done.exit_code == 0, (command, done.output, done.exception)
