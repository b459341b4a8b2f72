"""Are the alarms honest? Simulated cooks with noise, lid openings and faults, against the truth.

    python -m tests.benchmarks.honesty [cooks]

For each cook the simulator writes what was really so: the true core each minute. A prompt is
judged by when the true core crossed its target (late by its delay is right), and by how far
the true core was below it when it came. A breach is a true core below 135 F off the pit for
more than 60 s; one that no ``hot-hold-low`` follows within five minutes is missed, and a
``hot-hold-low`` while the true core lies above 136 F is false. The true core is that of the
thickest part; a probe reads it with its own offset and noise.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from pitlogger.bootstrap import replay_files
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.journal import AlertChanged
from pitlogger_simulators.written import write
from tests.benchmarks.row import Row

SCENARIOS = ("packer-paper", "packer-foil", "packer-unwrapped", "packer-boat", "harvest-supper",
             "early-long-hold", "cabinet-off", "ribs")  # fmt: skip
COOKS = 200
LIMIT_C = 57.2222
TOLD_WITHIN_S = 300.0
PROMPT_DELAY_S = 30.0


@dataclass(slots=True)
class Score:
    """What was seen over all cooks."""

    cooks: int = 0
    late_s: list[float] = field(default_factory=list)
    early_f: list[float] = field(default_factory=list)
    breaches: int = 0
    missed: int = 0
    false: int = 0
    alerts: list[int] = field(default_factory=list)
    waking: list[int] = field(default_factory=list)

    def rows(self) -> list[Row]:
        return [
            Row("honesty-cooks", self.cooks, "cooks"),
            Row("prompt-late-median", median(self.late_s), "s after the true crossing"),
            Row("prompt-late-p95", sorted(self.late_s)[int(0.95 * len(self.late_s))], "s"),
            Row("prompt-early-most", max(self.early_f), "F below target when it came"),
            Row("breaches", self.breaches, "true breaches"),
            Row("breaches-missed", self.missed, "of them"),
            Row("false-alarms", self.false / self.cooks, "a cook"),
            Row("alerts-median", median(self.alerts), "raised a cook"),
            Row("alerts-most", max(self.alerts), "raised a cook"),
            Row("waking-median", median(self.waking), "that wake a cook"),
        ]


def cores(truth: Path) -> dict[str, list[tuple[float, float, str]]]:
    """Return (time s, true core C, stage) of each piece."""
    found: dict[str, list[tuple[float, float, str]]] = {}
    for line in truth.read_text(encoding="utf-8").splitlines():
        row: dict[str, Any] = json.loads(line)
        if "core_c" in row:
            found.setdefault(row["piece"], []).append((row["t"], row["core_c"], row["stage"]))
    return found


def crossing_s(track: list[tuple[float, float, str]], target_c: float) -> float | None:
    """Return when the true core first reached a target on the pit."""
    for (t0, c0, _), (t1, c1, stage) in pairwise(track):
        if c0 < target_c <= c1 and Stage(stage) in ON_PIT:
            return t0 + (t1 - t0) * (target_c - c0) / (c1 - c0)
    return None


def core_at(track: list[tuple[float, float, str]], t_s: float) -> float:
    """Return the true core at a time."""
    return min(track, key=lambda point: abs(point[0] - t_s))[1]


def breaches(track: list[tuple[float, float, str]]) -> Iterator[tuple[float, float]]:
    """Yield the spans in which the true core was below the limit off the pit, a minute or more."""
    since = None
    last = 0.0
    for t_s, core_c, stage in track:
        below = Stage(stage) in HOT_OFF_PIT and core_c < LIMIT_C
        if below and since is None:
            since = t_s
        if not below and since is not None:
            if last - since > 60:
                yield since, last
            since = None
        last = t_s
    if since is not None and last - since > 60:
        yield since, last


def judge(score: Score, scenario: str, seed: int, folder: Path) -> None:
    """Play a cook, run its capture through the engine and add what was seen."""
    capture, truth = folder / "cook.senml", folder / "cook.truth"
    write(scenario, (), seed, capture, truth, None)
    gathered, engine = replay_files(capture, capture.with_suffix(".toml"), forecasts=False)
    raised = [
        (entry.t_ms / 1000, entry.body)
        for entry in gathered.entries
        if isinstance(entry.body, AlertChanged) and entry.body.now == "unacknowledged"
    ]
    score.cooks += 1
    score.alerts.append(len(raised))
    score.waking.append(sum(body.wakes for _, body in raised))
    tracks = cores(truth)
    for t_s, body in raised:
        track = tracks.get(body.piece or "")
        if track is None:
            continue
        if body.alert_kind in ("wrap-due", "pull-due"):
            piece = engine.book.pieces[body.piece or ""].piece
            policy = engine.policy
            target_mc = (
                policy.wrap_at_mc(piece)
                if body.alert_kind == "wrap-due"
                else policy.pull_at_mc(piece)
            )
            if target_mc is not None:
                _judge_prompt(score, track, t_s, target_mc / 1000)
        elif body.alert_kind == "hot-hold-low" and core_at(track, t_s) > LIMIT_C + 0.56:
            score.false += 1
    for piece_id, track in tracks.items():
        if not engine.book.channels_of(piece_id):
            continue  # no probe was ever in it: reminders, no verdict by proxy
        told = [t for t, b in raised if b.alert_kind == "hot-hold-low" and b.piece == piece_id]
        for since, _ in breaches(track):
            score.breaches += 1
            if not any(t <= since + TOLD_WITHIN_S for t in told):
                score.missed += 1


def _judge_prompt(
    score: Score, track: list[tuple[float, float, str]], t_s: float, target_c: float
) -> None:
    true_s = crossing_s(track, target_c)
    score.early_f.append(max(0.0, (target_c - core_at(track, t_s)) * 1.8))
    if true_s is not None:
        score.late_s.append(t_s - true_s - PROMPT_DELAY_S)


def rows(cooks: int = COOKS) -> list[Row]:
    """Return the table over ``cooks`` cooks."""
    score = Score()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(cooks):
            judge(score, SCENARIOS[number % len(SCENARIOS)], 1000 + number, Path(folder))
    return score.rows()


if __name__ == "__main__":
    for row in rows(int(sys.argv[1]) if len(sys.argv) > 1 else COOKS):
        print(f"{row.id:22} {row.value:10.2f} {row.unit}")
