"""The truth of a simulated cook, for scoring: JSON lines.

    {"t": 1789780800.0, "piece": "brisket-1", "core_c": 61.02, "surface_c": 70.1,
     "mass_g": 5120.3, "stage": "smoking"}                      once a minute and piece
    {"t": ..., "pit": "pit", "air_c": 115.8}                    once a minute and pit
    {"t": ..., "by": "AB", "did": "wraps it (paper)", "piece": "brisket-1"}
    {"t": ..., "fault": "silence", "on": "pit", "to": ...}
    {"expect": "wrap-due", "subject": "brisket-1", "at": ...}   when it became true
    {"expect": "channel-stale", "subject": "pit", "from": ..., "to": ...}

Times are UTC seconds. ``at`` is when the *true* core passed the limit, before any delay.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from pitlogger.model.book import Book
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.rules.policies import RulePolicy
from pitlogger_simulators.people.moments import moment_ms
from pitlogger_simulators.play import Play

Row = dict[str, Any]


@dataclass(slots=True)
class Truth:
    """Looks at the play from outside and writes down what is so."""

    play: Play
    policy: RulePolicy
    rows: list[Row] = field(default_factory=list)
    _passed: set[tuple[str, str]] = field(default_factory=set)
    _told: dict[str, int] = field(default_factory=dict)

    def opening(self) -> Iterator[Row]:
        """Yield what is known beforehand: faults, and the alerts the scenario promises."""
        for fault in self.play.faults.faults:
            yield {
                "t": fault.from_ms / 1000, "fault": fault.kind, "on": fault.on,
                "to": fault.to_ms / 1000, "amount": fault.amount,
            }  # fmt: skip
        start = self.play.scenario.file.start
        for expect in self.play.scenario.file.expect:
            row: Row = {"expect": expect.kind, "subject": expect.subject}
            for name, moment in (("from", expect.begin), ("to", expect.end)):
                if moment is not None:
                    row[name] = moment_ms(moment, start) / 1000
            yield row

    def look(self, book: Book) -> Iterator[Row]:
        """Yield how things are now."""
        kitchen, t_s = self.play.kitchen, self.play.now_ms / 1000
        for pit in self.play.scenario.file.pit:
            yield {"t": t_s, "pit": pit.id, "air_c": round(kitchen.smoker.pit_c(pit.id), 3)}
        for name, meat in kitchen.meat.items():
            held = book.pieces.get(name)
            row: Row = {"t": t_s, "piece": name, "core_c": round(kitchen.core_c(name), 3)}
            if meat.in_plant:
                row["surface_c"] = round(float(kitchen.smoker.surface_c(name)), 3)
            row["mass_g"] = round(kitchen.mass_g(name), 2)
            row["stage"] = "raw" if held is None else held.stage.value
            yield row

    def doings(self) -> Iterator[Row]:
        """Yield what people did since the last call."""
        for person in self.play.crew.people:
            hand = person.hand
            for told in hand.done:
                row: Row = {"t": told.t_ms / 1000, "by": told.by, "did": told.text}
                yield row | ({"piece": told.piece} if told.piece else {})
            hand.done.clear()

    def passings(self, book: Book) -> Iterator[Row]:
        """Yield the limits that a true core has passed since the last call."""
        for name in self.play.kitchen.meat:
            held = book.pieces.get(name)
            if held is None or held.ended_ms is not None:
                continue
            core_mc = self.play.kitchen.core_c(name) * 1000
            for kind in self._true(held.piece, held.stage, core_mc):
                if (kind, name) not in self._passed:
                    self._passed.add((kind, name))
                    yield {"expect": kind, "subject": name, "at": self.play.now_ms / 1000}

    def _true(self, piece: Any, stage: Stage, core_mc: float) -> Iterator[str]:
        if stage in ON_PIT:
            wrap_at, pull_at = self.policy.wrap_at_mc(piece), self.policy.pull_at_mc(piece)
            if stage is Stage.SMOKING and wrap_at is not None and core_mc >= wrap_at:
                yield "wrap-due"
            if pull_at is not None and core_mc >= pull_at:
                yield "pull-due"
        elif stage in HOT_OFF_PIT - {Stage.CARVED}:
            if core_mc < self.policy.hot_hold_limit_mc:
                yield "hot-hold-low"
            if core_mc < self.policy.hot_hold_near_mc:
                yield "hot-hold-near"
