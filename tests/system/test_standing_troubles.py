"""What was wrong before a cook began, and was seen during it: its capture still replays."""

from __future__ import annotations

import asyncio
import json
import sys
from pathlib import Path

from pitlogger.bootstrap.cooks import with_configured
from pitlogger.config import parse_config
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import AlertActed, CookFinished, CookStarted, TroubleChanged
from pitlogger.node.daemon import Daemon
from pitlogger.reports.capture_export import capture_lines

COMMAND = str(Path(sys.executable).with_name("pitlogger"))
COOK = '[cook]\nname = "x"\n[[piece]]\nid = "butt"\ncut = "pork-butt"\n'


def trouble(daemon: Daemon, *, active: bool, subject: str = "node") -> None:
    body = TroubleChanged("clock-unset", subject, active, "no clock", "set it")
    daemon.feed(Command(daemon.clock.engine_ms(), body))


async def captured(daemon: Daemon) -> list[str]:
    async with daemon:
        trouble(daemon, active=True, subject="mended")
        trouble(daemon, active=False, subject="mended")
        trouble(daemon, active=True)
        overdue = TroubleChanged("check-overdue", "node", True, "never checked")
        daemon.feed(Command(daemon.clock.engine_ms(), overdue))
        cook = with_configured(parse_cook(COOK), daemon.channels)
        await daemon.submit(CookStarted(cook))
        await daemon.submit(AlertActed("clock-unset/node", "acknowledge"), by="AB")
        await daemon.submit(AlertActed("check-overdue/node", "acknowledge"), by="AB")
        await daemon.submit(CookFinished("x"))
        await asyncio.wrap_future(daemon.store.flush())
        lines: list[str] = await daemon.ask(
            lambda reader: list(capture_lines(reader, daemon.finished_cook or ""))
        )
    return lines


async def test_a_trouble_of_before_that_somebody_saw_replays(tmp_path: Path) -> None:
    text = f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
    lines = await captured(Daemon(parse_config(text)))
    decided = [json.loads(record["vs"]) for line in lines for record in json.loads(line)]
    assert [one["kind"] for one in decided] == [
        "trouble-changed", "cook-started", "alert-acted", "cook-finished",
    ]  # fmt: skip
    capture = tmp_path / "x.senml"
    capture.write_text("".join(lines), encoding="utf-8")
    cook = tmp_path / "x.toml"
    cook.write_text(COOK, encoding="utf-8")
    replay = await asyncio.create_subprocess_exec(
        COMMAND, "replay", str(capture), "--cook", str(cook), "--json",
        stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    told, _ = await replay.communicate()
    assert replay.returncode in (0, 4)
    assert not [row for row in json.loads(told)["alerts"] if row["kind"] == "check-overdue"]
    states = [row["state"] for row in json.loads(told)["alerts"] if row["kind"] == "clock-unset"]
    assert states[-1] == "acknowledged"
