"""A person works through scripts, one thing at a time, and reacts to what pitlogger says."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from pitlogger.model.journal import AlertActed
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.steps import Clause, ScriptStep
from pitlogger_simulators.people.verbs import Activity

WAKING_S = 45.0


class SeenAlert(NamedTuple):
    """An alert that waits for somebody, as a page or the API shows it."""

    key: str
    kind: str
    wakes: bool


@dataclass(slots=True)
class Script:
    """What is to be done with one piece (or with none), line by line.

    ``since_ms`` is when the line before was done, ``due_ms`` when the present line may
    begin, once one of its reasons has come.
    """

    name: str
    piece: str
    steps: tuple[ScriptStep, ...]
    at: int = 0
    since_ms: int | None = None
    due_ms: int | None = None

    @property
    def is_done(self) -> bool:
        return self.at >= len(self.steps)


@dataclass(slots=True)
class SimulatedPerson:
    """One person.

    Attributes:
        hand: What there is to work with.
        scripts: In order of preference when several lines could begin.
        notice_s: How long it takes to look at an alert.
        heeds: Looks at alerts at all; wind and rain do not.
    """

    hand: Hand
    scripts: list[Script]
    notice_s: float = 60.0
    heeds: bool = True
    activity: Activity | None = None
    _busy_with: Script | None = None
    _resume_ms: float = 0.0
    _look_ms: dict[str, float] = field(default_factory=dict)

    @property
    def is_done(self) -> bool:
        """Whether nothing is left to do."""
        return self.activity is None and all(script.is_done for script in self.scripts)

    @property
    def is_busy(self) -> bool:
        """Whether something is being done now."""
        return self.activity is not None

    def tick(self, now_ms: int, crew: Crew, shown: Iterable[SeenAlert]) -> None:
        """Let it be ``now_ms`` for this person."""
        self.hand.now_ms = now_ms
        if self.heeds:
            self._look(now_ms, crew, shown)
        while True:
            if self.activity is None and not self._begin(now_ms, crew):
                return
            if now_ms < self._resume_ms:
                return
            self._go_on(now_ms)

    def _look(self, now_ms: int, crew: Crew, shown: Iterable[SeenAlert]) -> None:
        """Look at alerts after a while; a waking one ends a light sleep."""
        waiting = set()
        for alert in shown:
            waiting.add(alert.key)
            if self.hand.is_asleep and (self.hand.is_deaf or not alert.wakes):
                self._look_ms.pop(alert.key, None)
                continue
            pause_s = WAKING_S if self.hand.is_asleep else self.notice_s
            due_ms = self._look_ms.setdefault(alert.key, now_ms + self.hand.about(pause_s) * 1000)
            if now_ms >= due_ms:
                del self._look_ms[alert.key]
                self.hand.was_woken = self.hand.is_asleep
                crew.noticed[alert.key] = now_ms
                if alert.key not in crew.seen:
                    crew.seen.add(alert.key)
                    self.hand.say(AlertActed(alert.key, "acknowledge"))
                    self.hand.tell(f"sees {alert.key}")
        for key in self._look_ms.keys() - waiting:
            del self._look_ms[key]

    def _begin(self, now_ms: int, crew: Crew) -> bool:
        """Begin the first line whose time has come; return whether there is one."""
        for script in self.scripts:
            if not script.is_done and self._is_due(script, now_ms, crew):
                step = script.steps[script.at]
                self.activity = step.verb.start(self.hand, script.piece, step.arguments)
                self._busy_with, self._resume_ms = script, now_ms
                return True
        return False

    def _is_due(self, script: Script, now_ms: int, crew: Crew) -> bool:
        if script.since_ms is None:
            script.since_ms = now_ms
        step = script.steps[script.at]
        if script.due_ms is None:
            if step.clauses and not any(
                self._holds(clause, script, now_ms, crew) for clause in step.clauses
            ):
                return False
            script.due_ms = now_ms + step.delay_ms
        return now_ms >= script.due_ms

    def _holds(self, clause: Clause, script: Script, now_ms: int, crew: Crew) -> bool:
        match clause.kind:
            case "at":
                return now_ms >= clause.ms
            case "after":
                assert script.since_ms is not None
                return now_ms >= script.since_ms + clause.ms
            case "core":
                return self.hand.kitchen.core_c(script.piece) >= clause.core_c
            case "done":
                return crew.has_done(clause.word)
            case "alert":
                subject = clause.subject or script.piece
                if subject:
                    return f"{clause.word}/{subject}" in crew.noticed
                return any(key.startswith(f"{clause.word}/") for key in crew.noticed)

    def _go_on(self, now_ms: int) -> None:
        assert self.activity is not None
        try:
            self._resume_ms = max(now_ms, self._resume_ms) + next(self.activity) * 1000
        except StopIteration:
            self.activity = None
            script, self._busy_with = self._busy_with, None
            assert script is not None
            script.at += 1
            script.since_ms, script.due_ms = now_ms, None


@dataclass(slots=True)
class Crew:
    """Everybody who works on a cook.

    ``noticed`` is when somebody looked at an alert last, by its key: then all know.
    """

    people: list[SimulatedPerson]
    noticed: dict[str, int] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)  # of those that still wait

    def tick(self, now_ms: int, shown: Iterable[SeenAlert]) -> None:
        """Let it be ``now_ms`` for everybody."""
        waiting = list(shown)
        self.seen &= {alert.key for alert in waiting}
        for person in self.people:
            person.tick(now_ms, self, waiting)

    @property
    def is_done(self) -> bool:
        """Whether nobody who heeds anything has anything left to do."""
        return all(person.is_done for person in self.people if person.heeds)

    @property
    def is_weighing(self) -> bool:
        """Whether somebody stands at a scale."""
        return any(person.hand.at_scale for person in self.people)

    @property
    def is_awake(self) -> bool:
        """Whether somebody who heeds prompts is awake."""
        return any(person.heeds and not person.hand.is_asleep for person in self.people)

    @property
    def at_work(self) -> bool:
        """Whether anybody is awake and doing something."""
        return any(person.is_busy and not person.hand.is_asleep for person in self.people)

    def has_done(self, name: str) -> bool:
        """Return whether the scripts of a name are done."""
        return all(
            script.is_done
            for person in self.people
            for script in person.scripts
            if script.name == name
        )
