"""A button on the air, from its bytes to the journal of a running daemon."""

from __future__ import annotations

from pathlib import Path

from pitlogger.bootstrap.cooks import with_configured
from pitlogger.config import parse_config
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookStarted
from pitlogger.node.daemon import Daemon
from pitlogger.testing import until

# Packet ids 1 and 2, the first sent twice, as senders do: object 0x3A, press (BTHome v2).
FRAMES = ("4400013a01", "4400013a01", "4400023a01")


async def test_a_press_is_journalled_once_and_sets_the_stage(tmp_path: Path) -> None:
    recording = tmp_path / "button.jsonl"
    header = (
        '{"recording": 1, "driver": "bthome", "device": "b", "started": "", '
        '"config": {"address": "02:00:00:00:00:10"}, "notes": "synthetic"}'
    )
    chunks = [f'{{"t": {n * 10}, "x": "{frame}"}}' for n, frame in enumerate(FRAMES)]
    recording.write_text("\n".join([header, *chunks]) + "\n", encoding="utf-8")
    config = parse_config(
        f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
        f'[[device]]\nid = "b"\ndriver = "replay"\nfile = "{recording}"\n'
        '[[device.button]]\npress = "next-stage"\n'
    )
    cook = parse_cook('[cook]\nname = "x"\n[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    daemon = Daemon(config)
    async with daemon:
        await daemon.submit(CookStarted(with_configured(cook, daemon.channels)))
        await until(lambda: daemon.engine.book.pieces["butt"].stage is Stage.SEASONED)
        pressed = [entry for entry in daemon.engine.state.entries if entry.by == "button"]
    assert [entry.body.kind for entry in pressed] == ["stage-set", "stage-set"]
    assert "b/button" not in daemon.engine.lanes


async def test_a_press_that_has_to_be_asked_about_does_nothing_and_says_so(tmp_path: Path) -> None:
    recording = tmp_path / "button.jsonl"
    header = (
        '{"recording": 1, "driver": "bthome", "device": "b", "started": "", '
        '"config": {"address": "02:00:00:00:00:10"}, "notes": "synthetic"}'
    )
    frames = [f"4400{number:02x}3a01" for number in range(1, 6)]  # up to resting, within seconds
    chunks = [f'{{"t": {n * 10}, "x": "{frame}"}}' for n, frame in enumerate(frames)]
    recording.write_text("\n".join([header, *chunks]) + "\n", encoding="utf-8")
    config = parse_config(
        f'[node]\ndata = "{tmp_path}/data"\n[web]\nenabled = false\n'
        f'[[device]]\nid = "b"\ndriver = "replay"\nfile = "{recording}"\n'
        '[[device.button]]\npress = "next-stage"\n'
    )
    cook = parse_cook('[cook]\nname = "x"\n[[piece]]\nid = "butt"\ncut = "pork-butt"\n')
    daemon = Daemon(config)
    async with daemon:
        await daemon.submit(CookStarted(with_configured(cook, daemon.channels)))
        await until(lambda: bool(daemon.engine.book.notes))
        assert daemon.engine.book.pieces["butt"].stage is Stage.WRAPPED
        _, noted = daemon.engine.book.notes[-1]
    assert noted.text.startswith("next-stage was not done, answer on the page: butt was on the pit")
