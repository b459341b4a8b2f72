"""Whatever is typed wrong is answered in one line, and nothing is written."""

from __future__ import annotations

import json
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.cli import main
from pitlogger.cli.client import Client
from tests.system.test_daemon import COOK, RunningDaemon

from .malformed import CASES as FIRST
from .malformed import FILES
from .malformed_too import BESIDE, TYPED

CASES = (*FIRST, *TYPED, *BESIDE)

FOREIGN = re.compile(
    r"traceback|validation|should (be|have)|pydantic|expecting|errno|input is|Try 'p",
    re.I,
)


@pytest.fixture(scope="module")
def node(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDaemon]:
    folder = tmp_path_factory.mktemp("malformed")
    made = RunningDaemon.without_devices(folder)
    made.start()
    supper = folder / "harvest.toml"
    supper.write_text(COOK, encoding="utf-8")
    assert made.ask("cook", "start", str(supper)).returncode == 0
    for name, data in FILES.items():
        (folder / name).write_bytes(data)
    yield made
    made.stop(signal.SIGKILL)


def test_the_sweep_is_wide() -> None:
    assert len({command for command, _ in CASES}) >= 109


@pytest.mark.parametrize(("command", "words"), CASES, ids=[command for command, _ in CASES])
def test_a_malformed_command_is_refused_in_one_line(
    node: RunningDaemon,
    command: str,
    words: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(node.folder)
    monkeypatch.setenv("PITLOGGER_SOCKET", str(node.socket))
    monkeypatch.setenv("XDG_DATA_HOME", str(node.folder / "none"))
    before = state(node)
    with pytest.raises(SystemExit) as stopped:
        main(shlex.split(command))
    told = capsys.readouterr()
    assert stopped.value.code not in (0, None), told.out
    asked = json.loads(told.out) if told.out else {}
    assert set(asked) <= {"question", "options", "confirm"}  # what is hardly possible is asked
    lines = told.err.splitlines()
    assert len(lines) == 1, told.err
    assert words in lines[0]
    assert not FOREIGN.search(lines[0]), lines[0]
    assert state(node) == before


def state(node: RunningDaemon) -> tuple[int, set[Path]]:
    """Return how long the journal is, and the files that people see."""
    journal = Client(node.socket).get("/journal", limit=10_000)
    return len(journal), set(node.folder.glob("*"))


def test_questions_without_an_answer_to_read_end_in_words() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from pitlogger.cli import main; main()", "begin"],
        stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "run it at a terminal" in done.stderr
