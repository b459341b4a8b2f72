"""Each worked example of docs/mistakes.md, run in its order."""

from __future__ import annotations

import doctest
import json
import re
import shlex
import signal
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import pytest

from tests.system.test_daemon import COOK, PITLOGGER, RunningDaemon

PAGE = (Path(__file__).parents[2] / "docs" / "mistakes.md").read_text(encoding="utf-8")
EXAMPLE = re.compile(r"^    \$ pitlogger (.*)\n((?:    .*\n)*?)(?=\n|    \$)", re.MULTILINE)
DAY = "".join(
    json.dumps([{"n": f"{piece}/stage", "vs": "smoking", "t": 1_780_000_000}]) + "\n"
    for piece in ("brisket-1", "flat-1")
) + "".join(
    json.dumps([{"n": name, "u": "Cel", "v": 60.0, "t": 1_780_000_000 + at}]) + "\n"
    for at in range(0, 7200, 60)
    for name in ("brisket-1/core", "flat-1/core")
)
SHEET = """Date,Meat,Raw weight,Sliced
5/2/2026,brisket,14.2,7.05
5/9/2026,pork butt,8.4,4.5
"""


@pytest.fixture
def node(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[RunningDaemon]:
    # Where it is about noon now: the page's clock times lie before and after it.
    hours = datetime.now(UTC).hour - 12
    monkeypatch.setenv("TZ", f"Etc/GMT{hours:+d}")
    made = RunningDaemon.without_devices(tmp_path)
    cook = COOK.partition("[[channel]]")[0]
    supper = re.sub(r'name = ".*?"', 'name = "harvest supper"', cook, count=1)
    (tmp_path / "supper.toml").write_text(supper, encoding="utf-8")
    market = re.sub(r'name = ".*?"', 'name = "market"', cook, count=1)
    market = market.replace("brisket-1", "flat-1")
    (tmp_path / "market.toml").write_text(market, encoding="utf-8")
    pad = (files("pitlogger.texts") / "pad.toml").read_text(encoding="utf-8")
    (tmp_path / "pad.toml").write_text(pad.replace("2026-", "2025-"), encoding="utf-8")
    (tmp_path / "mended.toml").write_text(
        pad.replace("2026-", "2025-").replace("7.05 lb", "7.15 lb"), encoding="utf-8"
    )
    (tmp_path / "mine.csv").write_text(SHEET, encoding="utf-8")
    head, *rows = SHEET.splitlines(keepends=True)
    grown = [head, "5/23/2026,brisket,13.4,6.6\n", *rows]
    (tmp_path / "grown.csv").write_text("".join(grown), encoding="utf-8")
    (tmp_path / "mended.csv").write_text(SHEET.replace("7.05", "7.5"), encoding="utf-8")
    (tmp_path / "pin.txt").write_text("4711\n", encoding="utf-8")
    (tmp_path / "day.senml").write_text(DAY, encoding="utf-8")
    made.start()
    yield made
    made.stop(signal.SIGKILL)


def run(node: RunningDaemon, words: list[str]) -> subprocess.CompletedProcess[str]:
    """Run a command as the page shows it; a backup is put back while the daemon is down."""
    if words[0] not in ("store", "replay"):
        return node.ask(*words)
    is_put_back = words[:2] == ["store", "restore"]
    if is_put_back:
        node.stop()
    config = ["--config", str(node.config)] if words[0] == "store" else []
    done = subprocess.run(
        [PITLOGGER, *words, *config], check=False, capture_output=True, text=True, timeout=60
    )
    if is_put_back:
        node.start()
    return done


@pytest.mark.slow
def test_every_example_says_what_the_page_says(
    node: RunningDaemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(node.folder)
    examples = EXAMPLE.findall(PAGE)
    assert len(examples) >= 18
    last, tag = "", ""
    wrong = []
    backup = ""
    checker = doctest.OutputChecker()
    for command, expected in examples:
        placed = {"LAST": last, "BACKUP": backup}
        words = [placed.get(word, word) for word in shlex.split(command)]
        answer = run(node, words)
        if words[:2] == ["store", "backup"]:
            backup = answer.stdout.partition(":")[0]
        is_question = expected.strip().startswith("{")
        is_refused = expected.strip().startswith("pitlogger: ")
        said = answer.stderr if is_refused else answer.stdout
        if (answer.returncode != (1 if is_question else 0)) and not is_refused:
            wrong.append((command, answer.stderr))
        if is_refused and answer.returncode not in (1, 2):
            wrong.append((command, answer.stdout))
        ids = re.findall(r"\b([2-9a-z]{4})-(\d+)\b(?=\))", answer.stdout)
        if ids:
            tag, last = ids[-1][0], "-".join(ids[-1])
        said = re.sub(rf"\b{tag}-", "k7qm-", said) if tag else said
        wanted = re.sub(r"^    ", "", expected, flags=re.MULTILINE)
        if not checker.check_output(wanted, said, doctest.ELLIPSIS):
            wrong.append((command, said))
        if is_question and answer.returncode == 1:
            assert json.loads(answer.stdout)["confirm"]
    assert not wrong, "\n".join(map(str, wrong))
