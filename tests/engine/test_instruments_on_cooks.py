"""Probes that lie in whole simulated cooks, and cooks in which none does."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest

from pitlogger.model.journal import AlertChanged, Entry
from pitlogger_simulators.capture import Performance
from pitlogger_simulators.people.moments import moment_ms
from pitlogger_simulators.scenarios.scenario import load


def scenario_text(name: str) -> str:
    return (files("pitlogger_simulators") / "scenarios" / f"{name}.toml").read_text("utf-8")


def faults_told(scenario: str, seed: int | None = None) -> list[tuple[int, str]]:
    """Return when probe faults were raised, and what they said."""
    entries: list[Entry] = []
    played = Performance(
        load(scenario), seed, lambda out: entries.extend(e for e in out if isinstance(e, Entry))
    )
    for _ in played.lines():
        pass
    return [
        (entry.t_ms, entry.body.message)
        for entry in entries
        if isinstance(entry.body, AlertChanged)
        and entry.body.alert_kind == "probe-fault"
        and entry.body.now == "unacknowledged"
    ]


@pytest.mark.parametrize("name", ["packer-paper", "harvest-supper", "ribs", "fire-out"])
def test_no_probe_is_doubted_where_none_is_faulty(name: str) -> None:
    assert faults_told(name, seed=77) == []


def test_a_stuck_probe_is_told_apart_from_an_open_and_a_moved_one() -> None:
    start = load("probe-failure").file.start
    told = faults_told("probe-failure")
    (stuck,) = [at_ms for at_ms, words in told if "brisket/core-2 is stuck" in words]
    begun_ms = moment_ms("09:30", start)
    assert begun_ms + 10 * 60_000 <= stuck <= begun_ms + 25 * 60_000
    (opened,) = [at_ms for at_ms, words in told if "open or shorted" in words]
    assert opened == pytest.approx(moment_ms("11:30", start) + 35_000, abs=10_000)
    (moved,) = [words for _, words in told if "was moved" in words]
    assert "brisket/core-3" in moved, "it was put in later, without a word"


def test_two_probes_that_somebody_swapped_are_told(tmp_path: Path) -> None:
    text = scenario_text("forgetful-cook")
    swap = '  "swap brisket-1/core with brisket-2/core",\n'
    assert swap in text
    text = text.replace(swap, "").replace('"after 3 h: swap', '"after 27 min: swap')
    text += '\n[[meat]]\npiece = "brisket-2"\nmass = "6.2 kg"\nstart = "20 C"\n'
    path = tmp_path / "swapped.toml"
    path.write_text(text, encoding="utf-8")
    told = [words for _, words in faults_told(str(path)) if "swapped" in words]
    words = "brisket-1/core and brisket-2/core were swapped: each reads what the other read"
    assert told == [f"brisket-1: {words}"]
