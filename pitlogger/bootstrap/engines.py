"""Engines, new or run through a capture, and the answers to their forecast requests."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.forecasts.exchange import question, result
from pitlogger.engine.inputs import ForecastRequest, ForecastResult
from pitlogger.engine.replay import replay
from pitlogger.engine.state import EngineState
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import read_capture
from pitlogger.formats.cook_file import load_cook
from pitlogger.model.cooks import Channel
from pitlogger.reports.replay_document import Gathered
from pitlogger.rules.messages import Units
from pitlogger.rules.policies import RulePolicy


def new_engine(
    run: str,
    units: Units | None = None,
    channels: Iterable[Channel] = (),
    policy: RulePolicy | None = None,
) -> Engine:
    """Return an engine that knows nothing yet."""
    return Engine(EngineState(run), policy or load_policy(), units, channels)


def replay_files(
    capture: Path, *cook_files: Path, forecasts: bool = True, infer: bool = False
) -> tuple[Gathered, Engine]:
    """Run a capture file through a new engine; return what it gave and the engine after it.

    Args:
        capture: What was recorded.
        cook_files: Cooks that it does not start itself, one or several at once.
        infer: Leave its stage marks out and recognise the stages instead.

    Raises:
        CaptureError: The capture cannot be read, with ``file:line``.
        CookFileError: The cook file cannot be read, with ``file:line``.
    """
    cooks = [load_cook(file) for file in cook_files]
    records = read_capture(capture)
    policy = replace(load_policy(), stage_from="taken") if infer else None
    engine = new_engine("replay", policy=policy)
    gathered = Gathered()
    answer = answer_now if forecasts else None
    gathered.take(replay(engine, records, cooks, answer, name=str(capture), infer=infer))
    return gathered, engine


def answer_now(engine: Engine, asked: ForecastRequest) -> ForecastResult:
    """Answer a forecast request at once."""
    return forecast_answer(engine, asked)()


def forecast_answer(engine: Engine, asked: ForecastRequest) -> Callable[[], ForecastResult]:
    """Return the computation of an answer; it shares nothing with the engine."""
    request = question(engine, asked)

    def answer() -> ForecastResult:
        from pitlogger.forecast.finish import forecast

        return result(asked, forecast(request))

    return answer
