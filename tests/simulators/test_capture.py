"""The fast form: a capture, its cook file and its truth; people who react to prompts."""

from __future__ import annotations

import json
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from pitlogger.bootstrap.engines import replay_files
from pitlogger.engine.inputs import Output
from pitlogger.errors import UsageError
from pitlogger.formats.capture import Decision, parse_capture
from pitlogger.model.journal import AlertChanged, Entry
from pitlogger.reports.replay_document import replay_document
from pitlogger_simulators.capture import Performance
from pitlogger_simulators.scenarios.scenario import load, names
from pitlogger_simulators.written import write

Seen = list[tuple[str, str]]


@cache
def played(name: str) -> tuple[Performance, str, Seen]:
    """Play a scenario to its end; return it, its capture and the alert states as they came."""
    seen: Seen = []

    def keep(outputs: list[Output]) -> None:
        seen.extend(
            (output.body.alert, output.body.now.value)
            for output in outputs
            if isinstance(output, Entry) and isinstance(output.body, AlertChanged)
        )

    performance = Performance(load(name), None, keep)
    text = "".join(f"{line}\n" for line in performance.lines())
    return performance, text, seen


@pytest.fixture(scope="module")
def supper(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Performance, Seen]:
    folder = tmp_path_factory.mktemp("supper")
    performance, text, seen = played("harvest-supper")
    (folder / "a.senml").write_text(text, encoding="utf-8")
    (folder / "a.toml").write_text(performance.scenario.cook_text, encoding="utf-8")
    return folder, performance, seen


@pytest.fixture(scope="module")
def document(supper: tuple[Path, Performance, Seen]) -> dict[str, Any]:
    folder = supper[0]
    gathered, engine = replay_files(folder / "a.senml", folder / "a.toml", forecasts=False)
    return replay_document(gathered, engine.book)


@pytest.fixture(scope="module")
def truth(supper: tuple[Path, Performance, Seen]) -> list[dict[str, Any]]:
    return supper[1].rows


def near(truth: list[dict[str, Any]], piece: str, at: str) -> dict[str, Any]:
    """Return what was true of a piece about a moment."""
    at_s = datetime.fromisoformat(at).timestamp()
    lines = [line for line in truth if line.get("piece") == piece and "mass_g" in line]
    return min(lines, key=lambda line: abs(line["t"] - at_s))


def test_the_same_seed_gives_the_same_bytes_and_another_one_others(tmp_path: Path) -> None:
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        write("chicken", [], seed, tmp_path / f"{name}.senml", tmp_path / f"{name}.jsonl")
    captures = [(tmp_path / f"{name}.senml").read_bytes() for name in "abc"]
    truths = [(tmp_path / f"{name}.jsonl").read_bytes() for name in "abc"]
    assert captures[0] == captures[1] != captures[2]
    assert truths[0] == truths[1] != truths[2]


def test_truth_is_one_json_object_a_line(tmp_path: Path) -> None:
    write("chicken", ["cook.guests=40"], None, tmp_path / "a.senml", tmp_path / "a.jsonl")
    rows = [json.loads(line) for line in (tmp_path / "a.jsonl").read_text().splitlines()]
    assert any(row.get("did", "").startswith("puts it on") for row in rows)
    assert any(row.get("expect") == "pull-due" for row in rows)
    assert "guests = 40" in (tmp_path / "a.toml").read_text(encoding="utf-8")


def test_a_capture_never_takes_the_name_of_its_cook_file(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="same name"):
        write("chicken", [], None, tmp_path / "a.toml")


def test_a_replay_gives_the_alerts_the_people_saw(
    supper: tuple[Path, Performance, Seen], document: dict[str, Any]
) -> None:
    seen = [(key.partition("/")[0], state) for key, state in supper[2]]
    assert [(row["kind"], row["state"]) for row in document["alerts"]] == seen


def test_each_piece_is_wrapped_and_pulled_because_it_was_called(document: dict[str, Any]) -> None:
    raised = {
        (row["kind"], row["piece"])
        for row in document["alerts"]
        if row["state"] == "unacknowledged"
    }
    for piece in ("brisket-1", "brisket-2", "butt"):
        assert {("wrap-due", piece), ("pull-due", piece)} <= raised


def test_a_prompt_comes_when_the_true_core_is_there(
    document: dict[str, Any], truth: list[dict[str, Any]]
) -> None:
    prompts = [
        row
        for row in document["alerts"]
        if row["kind"] in ("wrap-due", "pull-due") and row["state"] == "unacknowledged"
    ]
    targets = {piece.id: piece for piece in load("harvest-supper").cook.pieces}
    assert len(prompts) == 6
    for row in prompts:
        piece = targets[row["piece"]]
        limit_mc = piece.wrap_at_mc if row["kind"] == "wrap-due" else piece.pull_at_mc
        assert limit_mc is not None
        assert near(truth, row["piece"], row["at"])["core_c"] == pytest.approx(
            limit_mc / 1000, abs=1.5
        )


def test_masses_weighed_are_the_true_ones(
    document: dict[str, Any], truth: list[dict[str, Any]]
) -> None:
    checkpoints = ("purchased", "trimmed", "seasoned", "rested")
    checked = 0
    for row in document["weighings"]:
        if row["checkpoint"] not in checkpoints:
            continue
        true_g = near(truth, row["piece"], row["at"])["mass_g"]
        assert row["net_g"] == pytest.approx(true_g, rel=0.02), row
        checked += 1
    assert checked >= 9


def test_no_mass_is_lost_without_being_doubted(document: dict[str, Any]) -> None:
    assert [account["doubts"] for account in document["yields"]] == [[], [], []]


@pytest.mark.slow
@pytest.mark.parametrize("name", names())
def test_each_scenario_comes_to_its_end_and_raises_what_it_promises(name: str) -> None:
    performance, _, seen = played(name)
    assert [row for row in performance.rows if "refused" in row] == []
    stuck = [
        script.steps[script.at].text
        for person in performance.play.crew.people
        if person.heeds
        for script in person.scripts
        if not script.is_done
    ]
    assert stuck == []
    for expect in performance.scenario.file.expect:
        assert (f"{expect.kind}/{expect.subject}", "unacknowledged") in seen


@pytest.mark.slow
def test_a_sleeper_is_woken_by_a_dying_fire_and_lights_it_again() -> None:
    performance, _, seen = played("fire-out")
    did = [row["did"] for row in performance.rows if "did" in row]
    after = did[did.index("the fire of 'pit' goes out") :]
    assert after[1:3] == ["sees pit-falling/pit", "is woken"]
    assert "lights 'pit' again" in after[3:]
    assert ("pit-falling/pit", "unacknowledged") in seen


@pytest.mark.slow
def test_forgotten_tare_and_mistyped_mass_are_in_the_record_as_told() -> None:
    performance, _, _ = played("forgetful-cook")
    book = performance.engine.book
    weighings = {w.weighed.checkpoint: w for w in book.pieces["brisket-1"].weighings}
    assert weighings["purchased"].weighed.net_mg == pytest.approx(6_100_000 + 620_000, abs=10_000)
    assert weighings["seasoned"].corrected
    assert weighings["seasoned"].weighed.net_mg == pytest.approx(5_185_000, abs=10_000)


@pytest.mark.slow
def test_nothing_is_written_while_the_host_has_no_power() -> None:
    performance, text, _ = played("power-cut")
    (cut,) = [fault for fault in performance.play.faults.faults if fault.kind == "power-cut"]
    records = parse_capture(text.encode().splitlines())
    assert not [r for r in records if cut.from_ms <= r.t_ms < cut.to_ms]
    told = [r.body.kind for r in records if isinstance(r, Decision) and r.t_ms >= cut.to_ms][:2]
    assert told == ["run-started", "noted"]
