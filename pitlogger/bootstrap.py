"""The composition root: the only place that joins parts."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

from pitlogger.engine.replay import replay
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import read_capture
from pitlogger.formats.cook_file import load_cook
from pitlogger.model.cooks import Channel
from pitlogger.reports.replay_document import Gathered
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import Policy, build


def load_policy() -> Policy:
    """Return the policy that comes with pitlogger."""
    texts = files("pitlogger.rules") / "policy"
    return build(
        (texts / "alerts.toml").read_text(encoding="utf-8"),
        (texts / "targets.toml").read_text(encoding="utf-8"),
    )


def new_engine(
    run: str,
    units: Units | None = None,
    channels: Iterable[Channel] = (),
    policy: Policy | None = None,
) -> Engine:
    """Return an engine that knows nothing yet."""
    return Engine(EngineState(run), policy or load_policy(), units, channels)


def replay_files(capture: Path, cook_file: Path | None) -> tuple[Gathered, Engine]:
    """Run a capture file through a new engine; return what it gave and the engine after it.

    Raises:
        CaptureError: The capture cannot be read, with ``file:line``.
        CookFileError: The cook file cannot be read, with ``file:line``.
    """
    cook = None if cook_file is None else load_cook(cook_file)
    records = read_capture(capture)
    engine = new_engine("replay")
    gathered = Gathered()
    gathered.take(replay(engine, records, cook, name=str(capture)))
    return gathered, engine
