"""A performance written down: capture, cook file and truth."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import Any, TextIO

from pitlogger.engine.inputs import Output
from pitlogger.errors import UsageError
from pitlogger.model.readings import Tagged
from pitlogger_simulators.capture import Performance
from pitlogger_simulators.scenarios.scenario import load


def write(
    name: str,
    changes: Iterable[str],
    seed: int | None,
    out: Path,
    truth: Path | None = None,
    rate: float | None = None,
) -> dict[str, Any]:
    """Play a scenario and write it down; return what was written where.

    Args:
        rate: Simulated seconds in a real one, for something that follows the file as it
            grows; ``None`` for as fast as it goes.

    Raises:
        UsageError: No such scenario, or a file that cannot be written.
    """
    scenario = load(name, changes)
    cook = out.with_suffix(".toml")
    if cook == out:
        raise UsageError(f"--out '{out}': its cook file would have the same name; end it in .senml")
    if truth is not None and truth.resolve() in (out.resolve(), cook.resolve()):
        raise UsageError(f"--truth '{truth}': the capture or its cook file has that name")
    counted = 0

    def count(outputs: list[Output]) -> None:
        nonlocal counted
        counted += sum(type(output) is Tagged for output in outputs)

    performance = Performance(scenario, seed, count)
    try:
        cook.write_text(scenario.cook_text, encoding="utf-8")
        with ExitStack() as stack:
            file = stack.enter_context(out.open("w", encoding="utf-8"))
            told = stack.enter_context(truth.open("w", encoding="utf-8")) if truth else None
            _play(performance, file, rate)
            if told is not None:
                told.writelines(
                    json.dumps(row, ensure_ascii=False) + "\n" for row in performance.rows
                )
    except OSError as fault:
        raise UsageError(f"'{fault.filename}' cannot be written: {fault.strerror}") from None
    return {
        "scenario": scenario.name,
        "capture": str(out),
        "cook": str(cook),
        "truth": None if truth is None else str(truth),
        "readings": counted,
        "span_s": (performance.play.now_ms - scenario.start_ms) / 1000,
        "done": performance.play.crew.is_done,
    }


def _play(performance: Performance, file: TextIO, rate: float | None) -> None:
    began_s = time.monotonic()
    start_ms = performance.play.now_ms
    for line in performance.lines():
        file.write(line + "\n")
        if rate is not None:
            ahead_s = (performance.play.now_ms - start_ms) / 1000 / rate
            pause_s = ahead_s - (time.monotonic() - began_s)
            if pause_s > 0:
                file.flush()
                time.sleep(pause_s)
