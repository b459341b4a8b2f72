"""The README's first cook, to the letter, without a scale."""

from __future__ import annotations

import json
import re
import shlex
import signal
import textwrap
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.system.test_daemon import RunningDaemon

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("## Your first real cook")[2].partition("Before the next one:")[0]


@pytest.fixture
def node(tmp_path: Path) -> Iterator[RunningDaemon]:
    made = RunningDaemon.without_devices(tmp_path)
    made.start()
    yield made
    made.stop(signal.SIGKILL)


@pytest.mark.slow
def test_it_works_to_the_letter_and_ends_with_a_servable_yield(node: RunningDaemon) -> None:
    toml = re.search(r"( {7}\[cook\].*?)\n\n   and start it", SECTION, re.DOTALL)
    assert toml is not None
    supper = node.folder / "supper.toml"
    # Its hour is the reader's own: that of a cook before it begins would be asked about.
    text = re.sub(r'(?<=serve_at = ")\d{4}', str(datetime.now(UTC).year + 1), toml[1])
    supper.write_text(textwrap.dedent(text), encoding="utf-8")
    assert node.ask("cook", "start", str(supper), "--by", "AB").returncode == 0
    steps = SECTION.partition("6. Weigh and mark")[2]
    commands = re.findall(r"^ {7}pitlogger (.*?)(?: +#.*)?$", steps, re.MULTILINE)
    assert len(commands) >= 8
    for command in commands:
        answer = node.ask(*shlex.split(command))
        assert answer.returncode == 0, (command, answer.stderr)
    document = json.loads(node.ask("yield", "harvest supper", "--json").stdout)
    (piece,) = document["pieces"]
    assert piece["servable_pct"] == pytest.approx(100 * (6 * 16 + 11) / (13 * 16 + 7), abs=0.1)
    assert "wrapped" in node.ask("cook", "show").stdout
