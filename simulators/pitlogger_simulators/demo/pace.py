"""How fast time runs in the demo: fast through the night, slow where somebody works."""

from __future__ import annotations

import time
from collections.abc import Callable

from pitlogger_simulators.play import Play

SLOW = 10.0  # while somebody weighs, or a prompt waits for its person
FASTEST = 600.0
LEAST = 30.0
TARGET_S = 165.0
FULL_COOK_MS = 14 * 3_600_000
# Real seconds that a weighing and a prompt take at the slow rate, from runs of the demo.
_WEIGHING_S = 1.6
_PROMPT_S = 5.0


class DemoPace:
    """Finds a rate at which a cook of 14 hours or more ends in about three minutes.

    A shorter one ends sooner by its share.

    Args:
        limit: Simulated seconds in a real one, at most.
    """

    def __init__(
        self,
        play: Play,
        limit: float | None = None,
        target_s: float = TARGET_S,
        real_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._play = play
        self.limit = FASTEST if limit is None else min(FASTEST, limit)
        self.end_ms = planned_end_ms(play)
        share = (self.end_ms - play.scenario.start_ms) / FULL_COOK_MS
        self._end_s = real_s() + target_s * min(1.0, share)
        self._real_s = real_s

    def rate(self, is_slow: bool) -> float:
        """Return the rate for now."""
        if is_slow:
            return min(SLOW, self.limit)
        weighings, prompts = _ahead(self._play)
        left_s = self._end_s - self._real_s() - weighings * _WEIGHING_S - prompts * _PROMPT_S
        ahead_s = max(0.0, (self.end_ms - self._play.now_ms) / 1000)
        wanted = ahead_s / left_s if left_s > 1.0 else FASTEST
        return min(self.limit, max(LEAST, wanted))

    @property
    def share(self) -> float:
        """Share of the cook that is over, 0 to 1."""
        start_ms = self._play.scenario.start_ms
        return min(1.0, (self._play.now_ms - start_ms) / max(1, self.end_ms - start_ms))


def planned_end_ms(play: Play) -> int:
    """Return when the last thing that has a time is done; half an hour is for what follows."""
    moments = [
        clause.ms
        for line in play.scenario.lines
        for step in line.steps
        for clause in step.clauses
        if clause.kind == "at"
    ]
    latest = max(moments, default=play.scenario.end_ms)
    return min(play.scenario.end_ms, latest + 30 * 60_000)


def _ahead(play: Play) -> tuple[int, int]:
    """Return how many weighings and prompts are still to come."""
    steps = [
        step
        for person in play.crew.people
        for script in person.scripts
        for step in script.steps[script.at :]
    ]
    weighings = sum(step.verb.form.startswith("weigh") for step in steps)
    prompts = sum(any(clause.kind == "alert" for clause in step.clauses) for step in steps)
    return weighings, prompts
