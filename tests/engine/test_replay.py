"""Live, replay and restart are one engine: the same record gives the same journal."""

import random
from dataclasses import replace

import pytest

from pitlogger.bootstrap.engines import new_engine
from pitlogger.bootstrap.policies import load_policy
from pitlogger.engine.feed import feed, ticks_until
from pitlogger.engine.inputs import Command, ForecastRequest, ForecastResult, Input, Output
from pitlogger.engine.replay import replay
from pitlogger.engine.restart import as_inputs, begin_run, catch_up, decisions
from pitlogger.engine.snapshot import dump_state, load_state, snapshot_version
from pitlogger.engine.step import Engine
from pitlogger.formats.capture import Decision, Record
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import (
    AlertActed,
    AlertChanged,
    Body,
    CookStarted,
    Corrected,
    Entry,
    ForecastMade,
    ForecastSkipped,
    StageSet,
    Undone,
    Weighed,
)
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading

from .conftest import COOK, START_MS


def night() -> list[Input]:
    """Return a short noisy cook with decisions, an undo and a silent hour."""
    noise = random.Random(11)
    inputs: list[Input] = [Command(START_MS, CookStarted(parse_cook(COOK)), "AB")]
    core_f = 140.0
    for second in range(1, 5200):
        t_ms = START_MS + second * 1000
        core_f += 0.02 if second < 3500 else -0.05
        if not 2000 <= second < 2400:
            value = milli_c_from_fahrenheit(core_f + noise.gauss(0, 0.3))
            inputs.append(Reading("brisket-1/core", t_ms + 120, value))
        inputs.append(Reading("pit", t_ms + 480, milli_c_from_fahrenheit(238 + noise.gauss(0, 4))))
        decided: dict[int, Body] = {
            10: StageSet("brisket-1", Stage.SMOKING, t_ms),
            1400: AlertActed("wrap-due/brisket-1", "acknowledge"),
            1500: Weighed("brisket-1", "at-wrap", 3_900_000, 0, t_ms),
            1510: StageSet("brisket-1", Stage.WRAPPED, t_ms),
            3520: StageSet("brisket-1", Stage.RESTING, t_ms),
        }
        if second in decided:
            inputs.append(Command(t_ms + 500, decided[second], "AB"))
    return inputs


def run(engine: Engine, inputs: list[Input]) -> list[Entry]:
    return [
        output
        for given in inputs
        for out in feed(engine, given)
        for output in out
        if isinstance(output, Entry)
    ]


def test_the_night_has_alerts_worth_comparing() -> None:
    journal = run(new_engine("r"), night())
    kinds = {e.body.alert_kind for e in journal if isinstance(e.body, AlertChanged)}
    assert {"wrap-due", "pull-due", "channel-stale", "hot-hold-near", "hot-hold-low"} <= kinds


def test_a_replayed_record_gives_the_same_journal_entry_for_entry() -> None:
    inputs = night()
    live = run(new_engine("r"), inputs)
    records: list[Record] = [
        Decision(given.t_ms, given.body, given.by) if isinstance(given, Command) else given
        for given in inputs
        if isinstance(given, Command | Reading)
    ]
    again = [o for o in replay(new_engine("r"), records) if isinstance(o, Entry)]
    assert again == live


def test_killed_and_restarted_equals_never_killed() -> None:
    inputs = night()
    never_killed = new_engine("r")
    journal = run(never_killed, inputs)
    for stop in (400, 2600, 4100, 5200, 7400):
        first = new_engine("r")
        snapshot_at = stop - 300
        run(first, inputs[:snapshot_at])
        body = dump_state(first.state)
        since_seq = first.state.seq
        told = run(first, inputs[snapshot_at:stop])
        resumed = Engine(load_state(body), load_policy())
        readings = [g for g in inputs[snapshot_at:stop] if isinstance(g, Reading)]
        assert catch_up(resumed, told, readings) == []
        resumed.state.entries = decisions([e for e in journal if e.seq <= since_seq + len(told)])
        begin_run(resumed, "r2", inputs[stop - 1].t_ms)
        resumed = Engine(resumed.state, load_policy())
        after = run(resumed, inputs[stop:])
        expected = [e for e in journal if e.seq > since_seq + len(told)]
        assert [replace(e, run="", seq=0) for e in after] == [
            replace(e, run="", seq=0) for e in expected
        ], f"killed at input {stop}"


def test_the_journal_has_the_last_word_on_an_alert_whose_readings_were_lost() -> None:
    inputs = night()
    engine = new_engine("r")
    journal = run(engine, inputs)
    raised = next(
        e for e in journal if isinstance(e.body, AlertChanged) and e.body.alert_kind == "pull-due"
    )
    before = [g for g in inputs if g.t_ms < raised.t_ms - 60_000]
    fresh = new_engine("r")
    run(fresh, before)
    catch_up(fresh, [raised], [])
    assert fresh.state.watches["pull-due/brisket-1"].state == "unacknowledged"
    assert fresh.state.watches["pull-due/brisket-1"].holds


def test_a_snapshot_is_exact() -> None:
    engine = new_engine("r")
    run(engine, night()[:3000])
    assert load_state(dump_state(engine.state)) == engine.state
    assert snapshot_version() == snapshot_version()


def test_an_undo_and_a_correction_point_at_the_same_entries_in_a_replay() -> None:
    weighed = Weighed("brisket-1", "trimmed", 5_000_000, 0, START_MS)
    live = new_engine("live")
    inputs: list[Input] = [
        Command(START_MS, CookStarted(parse_cook(COOK))),
        Command(START_MS + 1, weighed),
        Command(START_MS + 2, replace(weighed, checkpoint="seasoned")),
        Command(START_MS + 3, Undone("live", 3)),
        Command(START_MS + 4, Corrected("live", 2, replace(weighed, gross_mg=4_000_000))),
    ]
    journal = run(live, inputs)
    records: list[Record] = [
        Decision(g.t_ms, g.body, g.by, g.key, g.origin)
        for g in as_inputs(journal)
        if isinstance(g, Command)
    ]
    engine = new_engine("again")
    list(replay(engine, records))
    piece = engine.book.pieces["brisket-1"]
    assert piece.net_mg("trimmed") == 4_000_000
    assert piece.net_mg("seasoned") is None


def test_seconds_in_which_nothing_is_due_are_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    engine, ticks, step = new_engine("r"), list[int](), Engine.step

    def counted(self: Engine, given: Input) -> tuple[Output, ...]:
        ticks.append(given.t_ms)
        return step(self, given)

    run(engine, [Command(START_MS, CookStarted(parse_cook(COOK)))])
    monkeypatch.setattr(Engine, "step", counted)
    list(ticks_until(engine, START_MS + 3_600_000))
    assert engine.state.tick_ms == START_MS + 3_600_000
    assert len(ticks) < 3600 / 5  # no bin is shorter than ten seconds


def test_what_was_read_before_a_cook_does_not_reach_into_it() -> None:
    """The export of a cook begins with it: live and replay must not differ by what came before."""
    before = [Reading("pit", START_MS - 600_000 + s * 1000, 60_000) for s in range(600)]
    inputs = night()
    live = new_engine("r")
    run(live, [*before, *inputs[:1]])
    after = run(live, inputs[1:])
    assert after == [replace(entry, seq=entry.seq) for entry in run(new_engine("r"), inputs)[1:]]


def test_a_forecast_that_was_skipped_is_skipped_again() -> None:
    lived_ms = START_MS + 30_000

    def answer(engine: Engine, asked: ForecastRequest) -> ForecastResult:
        made = ForecastMade(asked.piece, asked.target, 1.0, False, asked.requested_ms)
        return ForecastResult(asked.due_ms, made)

    records: list[Record] = [
        Decision(START_MS, CookStarted(parse_cook(COOK))),
        Decision(lived_ms, ForecastSkipped("brisket-1", "pull", START_MS, "not ready in time")),
        Reading("pit", lived_ms + 1000, milli_c_from_fahrenheit(238.0)),
    ]
    said = [
        output.body
        for output in replay(new_engine("again"), records, forecaster=answer)
        if isinstance(output, Entry) and isinstance(output.body, ForecastMade | ForecastSkipped)
    ]
    assert [(body.kind, body.target) for body in said] == [
        ("forecast-made", "wrap"), ("forecast-skipped", "pull"), ("forecast-made", "rest"),
    ]  # fmt: skip
