"""Files, lines and names without an end: bounded, and said in words."""

from __future__ import annotations

import asyncio
import io
import json
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.config import load_config
from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports import recording
from pitlogger.errors import CaptureError, MalformedError, UsageError
from pitlogger.formats import capture
from pitlogger.formats.capture import LONGEST_GAP_MS, parse_capture, read_capture
from pitlogger.formats.paper_log import MOST_BYTES, read_paper_log
from pitlogger.reports.metrics import _escaped
from pitlogger.reports.table_files import guarded
from pitlogger_drivers.declared.decode import SLOW_LINES, LineParser
from pitlogger_drivers.declared.model import parse

LINES = """
name = "board"
summary = "a board"
[source]
kind = "serial"
line = '{line}'
[[value]]
channel = "a"
group = "v"
unit = "Cel"
"""


def record(t_s: float) -> bytes:
    return json.dumps([{"n": "pit", "u": "Cel", "v": 100, "t": t_s}]).encode()


def test_a_capture_with_a_gap_of_years_is_refused_at_once() -> None:
    start_s = 1_790_000_000
    with pytest.raises(CaptureError, match="nothing for 1096 days after 2026-09-21"):
        parse_capture([record(start_s), record(start_s + 3 * 365.25 * 86_400)])
    weeks = parse_capture([record(start_s), record(start_s + LONGEST_GAP_MS / 1000)])
    assert len(weeks) == 2


def test_a_capture_of_years_without_a_long_gap_is_refused_at_once() -> None:
    start_s, weeks_s = 1_790_000_000, LONGEST_GAP_MS / 1000
    lines = [record(start_s + number * weeks_s) for number in range(24)]
    with pytest.raises(CaptureError, match="713 days in one file; expected at most 100"):
        parse_capture(lines)


def test_files_larger_than_any_of_ours_are_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "capture.senml"
    with path.open("wb") as file:
        file.truncate(capture.MOST_BYTES + 1)
    with pytest.raises(CaptureError, match="cut it into several files"):
        read_capture(path)
    with path.open("wb") as file:
        file.truncate(recording.MOST_BYTES + 1)
    with pytest.raises(CaptureError, match="expected at most 67 MB"):
        recording.read_recording(path)


@pytest.mark.parametrize(
    "line", ["[" * 50_000, '{"t": 1e999, "x": "00"}', '{"t": 1, "x": "\\ud800"}']
)
def test_a_recording_of_odd_lines_is_refused_in_words(tmp_path: Path, line: str) -> None:
    path = tmp_path / "made.recording"
    path.write_text('{"recording": 1, "driver": "scpi"}\n' + line + "\n", encoding="utf-8")
    with pytest.raises(CaptureError, match=r"made\.recording:2: "):
        recording.read_recording(path)


async def test_a_recording_ends_where_it_is_full(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "MOST_BYTES", 1000)
    said = [recording.TimedChunk(0, Chunk("", b"12.5 kg\r\n"))] * 1000
    sink = io.StringIO()
    inner = recording.ReplayTransport(said, speed=0)
    recorder = recording.Recorder(inner, sink, recording.Header("scpi"))
    count = 0
    async with asyncio.timeout(10), recorder:
        async for _ in recorder.chunks():
            count += 1
    assert 10 < count < 100


def test_a_paper_log_larger_than_a_lifetime_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    with path.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(UsageError, match="cut it into several files"):
        read_paper_log(path)


def test_an_expression_that_backtracks_is_given_up() -> None:
    declaration = parse(LINES.format(line="(?P<v>(\\d|\\d\\d)+)[xz]"), "board.toml")
    parser = LineParser(declaration, declaration.source)  # type: ignore[arg-type]
    began_s = time.perf_counter()
    for _ in range(50):
        with pytest.raises(MalformedError):
            parser.parse(b"1" * 60 + b"y")
    assert time.perf_counter() - began_s < 5  # minutes, if it were not given up
    with pytest.raises(MalformedError, match=f"too long on {SLOW_LINES} lines"):
        parser.parse(b"12x")


def test_no_order_to_a_terminal_leaves_in_a_table_or_metric() -> None:
    assert guarded("a\x1b[2Jb\x9b") == "a\ufffd[2Jb\ufffd"
    assert guarded("=1") == "'=1"
    assert _escaped('a\x1b"\n') == 'a\ufffd\\"\\n'


@pytest.mark.parametrize("reads", [load_config, read_capture, read_paper_log, load_policy])
def test_a_device_without_end_is_not_read_as_a_file(reads: Callable[[Path], object]) -> None:
    with pytest.raises(UsageError, match="it is a device"):
        reads(Path("/dev/zero"))
