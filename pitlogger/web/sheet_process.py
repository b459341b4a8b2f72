"""Sheets of a whole cook, made in a process of their own.

It runs as ``python -m pitlogger.web.sheet_process``. A cook of many probes takes memory while
it is laid out; here it is given back at the end, and
the logger goes on beside it. One sheet at a time. The question comes by standard input as JSON,
the sheet goes to standard output as HTML; exit code 2 for what cannot be used.
"""

from __future__ import annotations

import asyncio
import json
import os
import sys
from asyncio.subprocess import PIPE
from contextlib import suppress
from typing import Any, Literal, get_args

from pitlogger.config import Config
from pitlogger.errors import PitloggerError, RefusedError, UsageError
from pitlogger.rules.messages import Units
from pitlogger.views.language import speak
from pitlogger.views.node import Node

What = Literal["cook", "food-log", "food-log-signed", "food-log-blank", "take-along", "story"]
WHAT: tuple[What, ...] = get_args(What)
PATIENCE_S = 180.0
POLITE = 10  # niceness: the logger comes first
_one_at_a_time = asyncio.Lock()


async def sheet_of_cook(daemon: Node, what: What, cook: str | None, units: Units) -> str:
    """Return a sheet of a cook, the last one by default, as HTML.

    Raises:
        UsageError: No such cook.
        RefusedError: Nothing is on record yet, or it took too long.
    """
    config = daemon.config
    question = {
        "what": what,
        "cook": cook,
        "now_ms": daemon.clock.engine_ms(),
        "config": {
            "node": {"name": config.node.name, "data": str(config.node.data)},
            "units": {
                "temperature": units.temperature,
                "mass": units.mass,
                "language": config.units.language,
            },
            "premises": config.premises.model_dump(mode="json"),
            "policy": config.policy.model_dump(mode="json"),
        },
    }
    await asyncio.wrap_future(daemon.store.flush())
    async with _one_at_a_time:
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "pitlogger.web.sheet_process",
            stdin=PIPE,
            stdout=PIPE,
            stderr=PIPE,
        )
        try:
            async with asyncio.timeout(PATIENCE_S):
                made, fault = await process.communicate(json.dumps(question).encode())
        except TimeoutError:
            raise RefusedError(f"the sheet took more than {PATIENCE_S:.0f} s: try again") from None
        finally:
            with suppress(ProcessLookupError):
                process.kill()
    if process.returncode == 0:
        return made.decode()
    lines = fault.decode(errors="replace").strip().splitlines()
    message = lines[-1] if lines else "the sheet could not be made"
    raise (UsageError if process.returncode == 2 else RefusedError)(message)


def sheet(question: dict[str, Any]) -> str:
    """Return the sheet that a question asks for, as HTML."""
    from pitlogger.bootstrap.policies import policies_of, units_of
    from pitlogger.reports.cook_record import Premises, load_record
    from pitlogger.reports.cook_report import cook_report
    from pitlogger.reports.food_log import blank_log, food_log
    from pitlogger.reports.html import html
    from pitlogger.reports.story import cook_story
    from pitlogger.reports.take_along import take_along
    from pitlogger.store.queries import Reader

    config = Config.model_validate(question["config"])
    speak(config.units.language, config.languages)
    _, policy = policies_of(config)
    premises = Premises(**config.premises.model_dump())
    if question["what"] == "food-log-blank":
        return html(blank_log(premises, policy))
    makers = {"cook": cook_report, "food-log": food_log, "food-log-signed": food_log,
              "take-along": take_along, "story": cook_story}  # fmt: skip
    as_signed = question["what"] == "food-log-signed"
    with Reader.open(config.database) as reader:
        record = load_record(
            reader, question["cook"], policy, units_of(config), premises=premises,
            as_signed=as_signed, now_ms=0 if as_signed else question["now_ms"],
        )  # fmt: skip
        return html(makers[question["what"]](record))


def main() -> int:
    """Answer the question on standard input."""
    os.nice(POLITE)
    try:
        sys.stdout.write(sheet(json.load(sys.stdin)))
    except PitloggerError as fault:
        sys.stderr.write(str(fault))
        return 2 if isinstance(fault, UsageError) else 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
