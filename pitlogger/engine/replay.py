"""Replay: the records of a capture through the engine, as if they came now."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command, ForecastRequest, ForecastResult, Output
from pitlogger.engine.step import Engine
from pitlogger.engine.watch.external import PASSING
from pitlogger.errors import CaptureError, PitloggerError
from pitlogger.formats.capture import Decision, Record
from pitlogger.model import journal
from pitlogger.model.cooks import Cook
from pitlogger.model.readings import Reading

Forecaster = Callable[[Engine, ForecastRequest], ForecastResult]


def replay(
    engine: Engine,
    records: Iterable[Record],
    cooks: Sequence[Cook] = (),
    forecaster: Forecaster | None = None,
    name: str = "capture",
    infer: bool = False,
) -> Iterator[Output]:
    """Yield all outputs of a capture, in order.

    Args:
        records: In order of time.
        cooks: Started at the first record of a cook, unless the capture starts one itself.
        forecaster: Answers forecast requests; its answers take effect when they are due.
        name: Stands for the capture in errors.
        infer: Leave the stage marks of the capture out: the engine recognises them. What was
            done about alerts that do not come then is left out too.

    Raises:
        CaptureError: With the line of a decision that cannot be accepted.
    """
    engine.weights.is_on = False  # what was weighed stands in the record
    due: list[ForecastResult] = []

    def hand_in(given: Reading | Command | ForecastResult) -> Iterator[Output]:
        for out in feed(engine, given):
            for output in out:
                if type(output) is ForecastRequest and forecaster is not None:
                    due.append(forecaster(engine, output))
                yield output

    for record in _without_stages(records) if infer else records:
        if (
            isinstance(record, Decision)
            and isinstance(record.body, journal.ChannelDoubted)
            and not record.by
        ):
            continue  # the engine doubts anew
        if cooks and engine.book.cook is None and not _may_come_before(record):
            for cook in cooks:
                yield from hand_in(Command(record.t_ms, journal.CookStarted(cook)))
        if isinstance(record, Decision) and isinstance(record.body, journal.ForecastSkipped):
            late = ForecastResult(record.t_ms, record.body)  # what came too late does not come now
            places = [i for i, result in enumerate(due) if _same_question(result, late)]
            for place in places:
                due[place] = late
            if not places:
                yield from hand_in(late)
            continue
        while due and due[0].t_ms <= record.t_ms:
            yield from hand_in(due.pop(0))
        if isinstance(record, Reading):
            yield from hand_in(record)
            continue
        command = Command(record.t_ms, record.body, record.by, record.key, record.origin)
        try:
            yield from hand_in(command)
        except PitloggerError as fault:
            if infer and isinstance(record.body, journal.AlertActed):
                continue
            raise CaptureError(f"{name}:{record.line}: {fault}") from None


def _without_stages(records: Iterable[Record]) -> Iterator[Record]:
    """Yield the records but for stage marks, and what was said of those later."""
    gone: set[tuple[str, int]] = set()
    for record in records:
        if isinstance(record, Decision) and _is_of_stage(record.body, gone):
            if record.origin is not None:
                gone.add(record.origin)
            continue
        yield record


def _is_of_stage(body: journal.Body, gone: set[tuple[str, int]]) -> bool:
    if isinstance(body, journal.Corrected | journal.Undone) and (body.of_run, body.of_seq) in gone:
        return True
    return isinstance(body, journal.StageSet) or (
        isinstance(body, journal.Corrected) and isinstance(body.body, journal.StageSet)
    )


def _may_come_before(record: Record) -> bool:
    """Return whether a record starts the cook itself, or says what was wrong before it."""
    return isinstance(record, Decision) and isinstance(record.body, (journal.CookStarted, *PASSING))


def _same_question(one: ForecastResult, other: ForecastResult) -> bool:
    return (one.body.of, one.body.requested_ms) == (other.body.of, other.body.requested_ms)
