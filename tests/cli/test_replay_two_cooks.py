"""``replay --cook A --cook B``: a capture without marks, in which two cooks were open at once."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from pitlogger.bootstrap.engines import replay_files
from pitlogger.cli import root

COOK = """
[cook]
name = "{name}"
[[piece]]
id = "{piece}"
cut = "brisket-packer"
[[channel]]
id = "{piece}/core"
site = "core"
piece = "{piece}"
[[channel]]
id = "pit"
site = "pit"
low = "225F"
high = "275F"
"""


def test_two_cook_files_are_two_cooks_over_one_capture(tmp_path: Path) -> None:
    for name, piece in (("wedding", "brisket-1"), ("market", "butt-1")):
        (tmp_path / f"{name}.toml").write_text(COOK.format(name=name, piece=piece))
    lines = [
        json.dumps([{"n": name, "u": "Cel", "v": 40.0, "t": 1_700_000_000 + at}])
        for at in range(0, 600, 10)
        for name in ("brisket-1/core", "butt-1/core", "pit")
    ]
    capture = tmp_path / "day.senml"
    capture.write_text("\n".join(lines) + "\n")
    given = ["replay", str(capture), "--json"]
    for name in ("wedding", "market"):
        given += ["--cook", str(tmp_path / f"{name}.toml")]
    done = CliRunner().invoke(root, given)
    assert done.exit_code == 0, done.output
    document = json.loads(done.output)
    assert document["readings"] == 180
    cooks = [tmp_path / "wedding.toml", tmp_path / "market.toml"]
    _, engine = replay_files(capture, *cooks, forecasts=False)
    spans = engine.book.open_cooks().values()
    assert [span.cook.name for span in spans] == ["wedding", "market"]
    assert engine.book.cores("butt-1") == ["butt-1/core"]
