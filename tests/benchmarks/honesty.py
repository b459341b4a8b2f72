"""Are the alarms honest? Simulated cooks with noise, lid openings and faults, against the truth.

    python -m tests.benchmarks.honesty [cooks]

For each cook the simulator writes what was really so: the true core and pit each minute, the
faults, what people did. Every fourth cook is one of the quiet kind; in every second one of the
others the lid is opened, and a probe opens, sticks, drifts, or falls silent.

A prompt is judged by when the true core crossed its target, as its probe with its own constant
error could at best show, and by how far the true core was below the target when the prompt came.
It is in time within two minutes and its delay, or within the time in which the true core moves
by 0.5 F. A breach is a true core below 135 F off the pit for more than 60 s, with
a probe in it; one that no ``hot-hold-low`` follows within five minutes is missed. An alarm is
false where the truth does not bear it out. The true core is that of the thickest part; a probe
reads it with its own offset and noise.
"""

from __future__ import annotations

import random
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

from pitlogger.engine.step import Engine
from pitlogger.model.alerts import alert_class
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.journal import AlertChanged, Entry
from pitlogger_simulators.capture import Performance
from pitlogger_simulators.scenarios.scenario import load
from tests.benchmarks.row import Row

QUIET = ("packer-paper", "packer-foil", "packer-unwrapped", "packer-boat")
OTHERS = ("harvest-supper", "early-long-hold", "cabinet-off", "ribs", "fire-out", "forgetful-cook",
          "burnt-ends", "chicken", "probe-failure")  # fmt: skip
COOKS = 200
LIMIT_C = 57.2222
TOLD_WITHIN_S = 300.0
PROMPT_DELAY_S = 30.0
IN_TIME_S = 120.0
HALF_F_C = 0.5 / 1.8
AFTER_FAULT_S = 2400.0  # stuck is told after minutes; a probe that moves back jumps
BLIND = frozenset({"open", "shorted", "stuck", "silence", "drift", "bias"})
FELT_C = 0.56  # 1 F: what a probe's own error may make of a limit
TEN_MINUTES_S = 600.0


class Trouble(NamedTuple):
    """A fault that was put on a channel or a device."""

    kind: str
    on: str
    from_s: float
    to_s: float


class Point(NamedTuple):
    """A piece as it truly was."""

    t_s: float
    core_c: float
    stage: Stage


@dataclass(slots=True)
class Truth:
    """What was really so in one cook."""

    pieces: dict[str, list[Point]] = field(default_factory=dict)
    pits: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    faults: list[Trouble] = field(default_factory=list)
    handled: list[float] = field(default_factory=list)  # when somebody touched a probe
    offset_c: dict[str, float] = field(default_factory=dict)  # each probe's own error

    def pit_between(self, pit: str, from_s: float, to_s: float) -> list[float]:
        return [air_c for t_s, air_c in self.pits.get(pit, []) if from_s <= t_s <= to_s]

    def is_blind(self, channel: str, from_s: float, to_s: float) -> bool:
        """Return whether a channel told nothing of use at some time between two."""
        return any(
            one.kind in BLIND
            and one.on in (channel, channel.partition("/")[0])
            and one.from_s <= to_s
            and from_s <= one.to_s
            for one in self.faults
        )

    def is_excused(self, t_s: float) -> bool:
        """Return whether a fault or a hand on a probe explains an instrument alarm."""
        faulty = any(one.from_s <= t_s <= one.to_s + AFTER_FAULT_S for one in self.faults)
        return faulty or any(0 <= t_s - at_s <= AFTER_FAULT_S for at_s in self.handled)


@dataclass(slots=True)
class Score:
    """What was seen over all cooks."""

    cooks: int = 0
    disturbed: int = 0
    late_s: list[float] = field(default_factory=list)
    blind: int = 0
    out_of_time: list[str] = field(default_factory=list)
    early_f: list[float] = field(default_factory=list)
    breaches: int = 0
    missed: list[str] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    quiet_alerts: list[int] = field(default_factory=list)
    quiet_waking: list[int] = field(default_factory=list)
    alerts: list[int] = field(default_factory=list)
    per_ten_minutes: list[float] = field(default_factory=list)
    burst: list[int] = field(default_factory=list)

    def rows(self) -> list[Row]:
        """Return the table; ``yardstick`` is the bar of each figure."""
        late = sorted(self.late_s)
        return [
            Row("cooks", self.cooks, "", "200 or more"),
            Row("cooks-disturbed", self.disturbed, "with lid openings and faults"),
            Row("prompts", len(late), "wraps and pulls told"),
            Row("prompt-late-median", median(late), "s after the true crossing and the delay"),
            Row("prompt-late-p95", late[int(0.95 * len(late))], "s"),
            Row(
                "prompts-out-of-time", len(self.out_of_time), "later or earlier than their bar", "0"
            ),
            Row("prompt-early-most", max(self.early_f), "F below target when it came", "1"),
            Row("prompts-blind", self.blind, "their probe was faulty then; not judged"),
            Row("breaches", self.breaches, "true breaches with a probe in the meat"),
            Row("breaches-missed", len(self.missed), "of them", "0"),
            Row("false-alarms", len(self.false) / self.cooks, "a cook", "0.1"),
            Row("quiet-alerts-most", max(self.quiet_alerts), "raised in a quiet cook", "12"),
            Row("quiet-waking-most", max(self.quiet_waking), "of them wake", "3"),
            Row("alerts-median", median(self.alerts), "raised a cook"),
            Row("worst-night", max(self.per_ten_minutes), "alerts in ten minutes", "1"),
            Row("worst-ten-minutes", max(self.burst), "alerts raised", "10 is a flood"),
        ]


# -- cooks ----------------------------------------------------------------------------------


def scenario_of(number: int) -> tuple[str, bool]:
    """Return the scenario of a cook, and whether it is disturbed."""
    if number % 4 == 0:
        return QUIET[number // 4 % len(QUIET)], False
    other = number - number // 4 - 1
    return OTHERS[other % len(OTHERS)], other % 2 == 0


def played_text(name: str, seed: int, folder: Path, is_disturbed: bool) -> Path:
    """Return the scenario of a cook: a quiet one holds hot in a cabinet, not in a cooling box."""
    text = (files("pitlogger_simulators") / "scenarios" / f"{name}.toml").read_text("utf-8")
    if name in QUIET:
        text = text.replace('"move to box"', '"move to cabinet"')
    if is_disturbed:
        text += disturbance(text, seed)
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def disturbance(text: str, seed: int) -> str:
    """Return what is added to a scenario: lid openings and faults of probes, drawn by the seed."""
    table = tomllib.loads(text)
    rng = random.Random(seed)
    cores = [c["id"] for c in table["channel"] if c["site"] == "core"] or ["pit"]
    pit = table["pit"][0]["id"]
    added = [
        '\n[[script]]\nname = "lid openings"\nsteps = [',
        *(
            f'  "at +{rng.uniform(1, 7):.2f} h: open lid {pit} for {rng.randint(30, 120)} s",'
            for _ in range(3)
        ),
        "]",
    ]
    for kind, amount in (("open", 0), ("stuck", 0), ("silence", 0), ("noise", 0.3), ("drop", 0.1)):
        begin = rng.uniform(2, 8)
        end = begin + rng.uniform(0.3, 1.0)
        added.append(
            f'[[fault]]\non = "{rng.choice(cores)}"\nkind = "{kind}"\namount = {amount}\n'
            f'from = "+{begin:.2f} h"\nto = "+{end:.2f} h"'
        )
    return "\n".join(added)


def read_truth(rows: Iterable[dict[str, Any]]) -> Truth:
    """Return what the rows of a truth say (``pitlogger_simulators.truth``)."""
    truth = Truth()
    for row in rows:
        if "core_c" in row:
            point = Point(row["t"], row["core_c"], Stage(row["stage"]))
            truth.pieces.setdefault(row["piece"], []).append(point)
        elif "air_c" in row:
            truth.pits.setdefault(row["pit"], []).append((row["t"], row["air_c"]))
        elif "fault" in row:
            truth.faults.append(Trouble(row["fault"], row["on"], row["t"], row["to"]))
        elif _touches_a_probe(row.get("did", "")):
            truth.handled.append(row["t"])
    return truth


def _touches_a_probe(did: str) -> bool:
    """Return whether what somebody did put a probe elsewhere (``people.probing``)."""
    verb = did.partition(" ")[0]
    return verb in ("puts", "pulls", "moves", "swaps") and ("/" in did or "probes" in did)


# -- what was so ----------------------------------------------------------------------------


def crossing_s(track: list[Point], target_c: float) -> float | None:
    """Return when the true core first reached a target on the pit."""
    for one, two in pairwise(track):
        if one.core_c < target_c <= two.core_c and two.stage in ON_PIT:
            share = (target_c - one.core_c) / (two.core_c - one.core_c)
            return one.t_s + (two.t_s - one.t_s) * share
    return None


def core_at(track: list[Point], t_s: float) -> float:
    """Return the true core at a time."""
    return min(track, key=lambda point: abs(point.t_s - t_s)).core_c


def breaches(track: list[Point]) -> Iterator[tuple[float, float]]:
    """Yield the spans in which the true core was below the limit off the pit, a minute or more."""
    since = None
    last = 0.0
    for point in track:
        below = point.stage in HOT_OFF_PIT and point.core_c < LIMIT_C
        if below and since is None:
            since = point.t_s
        if not below and since is not None:
            if last - since > 60:
                yield since, last
            since = None
        last = point.t_s
    if since is not None and last - since > 60:
        yield since, last


# -- judging --------------------------------------------------------------------------------


def judge(score: Score, number: int, folder: Path) -> None:
    """Play a cook with the engine beside it and add what was seen."""
    name, is_disturbed = scenario_of(number)
    seed = 1000 + number
    entries: list[Entry] = []
    performance = Performance(
        load(str(played_text(name, seed, folder, is_disturbed))),
        seed,
        lambda outputs: entries.extend(out for out in outputs if isinstance(out, Entry)),
    )
    for _ in performance.lines():
        pass  # what is written down is not needed: its replay would say the same
    engine, truth = performance.engine, read_truth(performance.rows)
    probes = performance.scenario.file.probe
    truth.offset_c = {probe.channel: probe.offset / 1000 for probe in probes}
    raised = [
        (entry.t_ms / 1000, entry.body)
        for entry in entries
        if isinstance(entry.body, AlertChanged) and entry.body.now == "unacknowledged"
    ]
    score.cooks += 1
    score.disturbed += is_disturbed
    _count(score, raised, truth, is_quiet=name in QUIET)
    for t_s, body in raised:
        if body.alert_kind in ("wrap-due", "pull-due"):
            _judge_prompt(score, engine, truth, t_s, body, f"{name} {seed}")
        elif alert_class(body.alert_kind) == "alarm" and is_false(engine, truth, t_s, body):
            score.false.append(f"{name} {seed}: {body.message}")
    for piece, track in truth.pieces.items():
        told = [t for t, b in raised if b.alert_kind == "hot-hold-low" and b.piece == piece]
        for since, last in breaches(track):
            if not _is_watched(engine, truth, piece, since, last):
                continue  # no probe reads it: reminders and its own alarm, no verdict by proxy
            score.breaches += 1
            if not any(t <= since + TOLD_WITHIN_S for t in told):
                score.missed.append(f"{name} {seed}: {piece} from {since:.0f} s")


def _count(
    score: Score, raised: list[tuple[float, AlertChanged]], truth: Truth, *, is_quiet: bool
) -> None:
    times = [t_s for t_s, _ in raised]
    lasted_s = max(track[-1].t_s - track[0].t_s for track in truth.pieces.values())
    score.alerts.append(len(raised))
    score.per_ten_minutes.append(len(raised) / (lasted_s / TEN_MINUTES_S))
    score.burst.append(
        max((sum(t <= u < t + TEN_MINUTES_S for u in times) for t in times), default=0)
    )
    if is_quiet:
        score.quiet_alerts.append(len(raised))
        score.quiet_waking.append(sum(body.wakes for _, body in raised))


def _is_watched(engine: Engine, truth: Truth, piece: str, since_s: float, last_s: float) -> bool:
    """Return whether a probe read a piece all through a breach's first minutes."""
    to_s = min(last_s, since_s + TOLD_WITHIN_S)
    return all(engine.book.cores(piece, round(t_s * 1000)) for t_s in (since_s, to_s)) and not any(
        truth.is_blind(core, since_s - TOLD_WITHIN_S, to_s)
        for core in engine.book.cores(piece, round(since_s * 1000))
    )


def _judge_prompt(
    score: Score, engine: Engine, truth: Truth, t_s: float, body: AlertChanged, cook: str
) -> None:
    piece = engine.book.pieces[body.piece or ""].piece
    policy = engine.policy
    asked = policy.wrap_at_mc if body.alert_kind == "wrap-due" else policy.pull_at_mc
    target_mc = asked(piece)
    track = truth.pieces.get(piece.id)
    if target_mc is None or track is None:
        return
    target_c = target_mc / 1000
    early_f = max(0.0, (target_c - core_at(track, t_s)) * 1.8)
    score.early_f.append(early_f)
    lead = engine.book.cores(piece.id, round(t_s * 1000))[:1]
    seen_c = target_c - sum(truth.offset_c.get(core, 0.0) for core in lead)
    true_s = crossing_s(track, seen_c)
    if true_s is None:
        if early_f > 1.0:
            score.out_of_time.append(f"{cook}: {body.message}: {early_f:.1f} F early")
        return
    if any(truth.is_blind(core, true_s - TEN_MINUTES_S, t_s) for core in lead):
        score.blind += 1
        return
    late_s = t_s - true_s - PROMPT_DELAY_S
    score.late_s.append(late_s)
    higher_s = crossing_s(track, seen_c + HALF_F_C)
    lower_s = crossing_s(track, seen_c - HALF_F_C)
    bar_s = max(IN_TIME_S, (higher_s or true_s) - true_s)
    early_bar_s = max(IN_TIME_S, true_s - (lower_s or true_s))
    if not -early_bar_s - PROMPT_DELAY_S <= late_s <= bar_s:
        score.out_of_time.append(f"{cook}: {body.message}: {late_s:.0f} s late, bar {bar_s:.0f} s")


def is_false(engine: Engine, truth: Truth, t_s: float, body: AlertChanged) -> bool:
    """Return whether the truth does not bear an alarm out; one it does not tell of is borne out."""
    kind = body.alert_kind
    if kind == "hot-hold-low":
        track = truth.pieces.get(body.piece or "")
        if len(engine.book.cores(body.piece or "", round(t_s * 1000))) > 1:
            return False  # the coldest of several lies elsewhere than the core that is known
        return track is not None and core_at(track, t_s) > LIMIT_C + FELT_C
    if kind in ("probe-fault", "channel-stale", "device-lost"):
        return not truth.is_excused(t_s)
    placed = engine.book.assignment(body.channel or "")
    if placed is None or kind not in ("pit-low", "pit-high", "pit-falling", "flare-up"):
        return False
    pit = placed.channel
    before = truth.pit_between(pit.id, t_s - TEN_MINUTES_S, t_s)
    if not before:
        return False
    if kind == "pit-low":
        return pit.low_mc is not None and min(before) > pit.low_mc / 1000 + FELT_C
    if kind == "pit-high":
        return pit.high_mc is not None and max(before) < pit.high_mc / 1000 - FELT_C
    if kind == "flare-up":
        return max(before) < 160.0
    half_hour = truth.pit_between(pit.id, t_s - 3 * TEN_MINUTES_S, t_s)
    return max(half_hour) - before[-1] < 4.0  # it did not fall


def table(cooks: int = COOKS) -> Score:
    """Return what was seen over ``cooks`` cooks."""
    score = Score()
    for number in range(cooks):
        with tempfile.TemporaryDirectory() as folder:
            judge(score, number, Path(folder))
    return score


if __name__ == "__main__":
    seen = table(int(sys.argv[1]) if len(sys.argv) > 1 else COOKS)
    print("| what | measured | | bar |\n| --- | ---: | --- | --- |")
    for row in seen.rows():
        print(f"| {row.id} | {row.value:.3g} | {row.unit} | {row.yardstick} |")
    for what in ("out_of_time", "missed", "false"):
        for line in getattr(seen, what):
            print(f"{what.replace('_', ' ')}: {line}", file=sys.stderr)
