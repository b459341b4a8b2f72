"""Each worked example of docs/mistakes.md, run in its order."""

from __future__ import annotations

import doctest
import json
import re
import shlex
import signal
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from tests.system.test_daemon import COOK, Node

PAGE = (Path(__file__).parents[2] / "docs" / "mistakes.md").read_text(encoding="utf-8")
EXAMPLE = re.compile(r"^    \$ pitlogger (.*)\n((?:    .*\n)*?)(?=\n|    \$)", re.MULTILINE)
SHEET = """Date,Meat,Raw weight,Sliced
5/2/2026,brisket,14.2,7.05
5/9/2026,pork butt,8.4,4.5
"""


@pytest.fixture
def node(tmp_path: Path) -> Iterator[Node]:
    made = Node(tmp_path)
    made.config.write_text(
        f'[node]\nname = "test"\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n',
        encoding="utf-8",
    )
    cook = COOK.partition("[[channel]]")[0]
    supper = re.sub(r'name = ".*?"', 'name = "harvest supper"', cook, count=1)
    (tmp_path / "supper.toml").write_text(supper, encoding="utf-8")
    market = re.sub(r'name = ".*?"', 'name = "market"', cook, count=1)
    market = market.replace("brisket-1", "flat-1")
    (tmp_path / "market.toml").write_text(market, encoding="utf-8")
    pad = (files("pitlogger.texts") / "pad.toml").read_text(encoding="utf-8")
    (tmp_path / "pad.toml").write_text(pad.replace("2026-", "2025-"), encoding="utf-8")
    (tmp_path / "mine.csv").write_text(SHEET, encoding="utf-8")
    made.start()
    yield made
    made.stop(signal.SIGKILL)


@pytest.mark.slow
def test_every_example_says_what_the_page_says(node: Node, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(node.folder)
    examples = EXAMPLE.findall(PAGE)
    assert len(examples) >= 18
    last, tag = "", ""
    wrong = []
    checker = doctest.OutputChecker()
    for command, expected in examples:
        words = [last if word == "LAST" else word for word in shlex.split(command)]
        answer = node.ask(*words)
        is_question = expected.strip().startswith("{")
        if answer.returncode != (1 if is_question else 0):
            wrong.append((command, answer.stderr))
        ids = re.findall(r"\b([2-9a-z]{4})-(\d+)\b(?=\))", answer.stdout)
        if ids:
            tag, last = ids[-1][0], "-".join(ids[-1])
        said = re.sub(rf"\b{tag}-", "k7qm-", answer.stdout) if tag else answer.stdout
        wanted = re.sub(r"^    ", "", expected, flags=re.MULTILINE)
        if not checker.check_output(wanted, said, doctest.ELLIPSIS):
            wrong.append((command, said))
        if is_question and answer.returncode == 1:
            assert json.loads(answer.stdout)["confirm"]
    assert not wrong, "\n".join(map(str, wrong))
