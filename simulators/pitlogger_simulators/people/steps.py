"""The lines of a script: when, and what.

    when wrap-due or core 170F, +10 min: wrap paper

Before the colon stands when: ``at 22:30`` or ``at +3 h``; ``when KIND`` (an alert of this
piece that the person has seen, or ``when KIND SUBJECT``); ``core 165F`` (the person looks);
``when SCRIPT done`` waits for another script. ``or`` joins several, any of them will do; a
last ``, +10 min`` lets that time pass first. ``after 45 min`` counts from the line before.
Without a colon the step follows at once. What can be done stands in ``repertoire``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from pitlogger.errors import UsageError, unknown
from pitlogger.model.alerts import KINDS
from pitlogger.model.quantities import parse_duration_ms, parse_temperature_mc
from pitlogger_simulators.people.moments import moment_ms
from pitlogger_simulators.people.repertoire import VERBS
from pitlogger_simulators.people.verbs import Verb

_DELAYED = re.compile(r"(.*?)\s*,\s*\+(.+)")
_TRIGGERS = ("at", "after", "when", "core")


@dataclass(frozen=True, slots=True)
class Clause:
    """One reason to begin.

    Attributes:
        kind: ``at`` a moment, ``after`` a time, ``alert`` seen, ``core`` reached, ``done``.
        ms: The moment or the time, milliseconds.
        word: Alert kind, or the script that must be done.
        subject: Piece, channel or device of the alert; empty for the piece of the script.
        core_c: Temperature of ``core``.
    """

    kind: Literal["at", "after", "alert", "core", "done"]
    ms: int = 0
    word: str = ""
    subject: str = ""
    core_c: float = 0.0


@dataclass(frozen=True, slots=True)
class ScriptStep:
    """One line: any of the clauses (none: at once), ``delay_ms`` later, do it."""

    text: str
    clauses: tuple[Clause, ...]
    delay_ms: int
    verb: Verb
    arguments: dict[str, Any]


def parse_step(line: str, start: datetime) -> ScriptStep:
    """Return the step a line describes.

    Raises:
        UsageError: An unknown trigger or verb, or a value that cannot be read.
    """
    before, colon, action = line.partition(": ")
    if not colon:
        before, action = "", line
    delay_ms = 0
    if (delayed := _DELAYED.fullmatch(before.strip())) is not None:
        before, delay_ms = delayed[1], parse_duration_ms(delayed[2])
    clauses = tuple(
        _clause(part.strip(), line, start) for part in before.split(" or ") if part.strip()
    )
    verb, arguments = _match(action.strip(), line)
    return ScriptStep(line, clauses, delay_ms, verb, arguments)


def _clause(text: str, line: str, start: datetime) -> Clause:
    word, _, rest = text.partition(" ")
    rest = rest.strip()
    match word:
        case "at":
            return Clause("at", ms=moment_ms(rest, start))
        case "after":
            return Clause("after", ms=parse_duration_ms(rest))
        case "core":
            return Clause("core", core_c=parse_temperature_mc(rest) / 1000)
        case "when":
            return _when(rest, line)
    raise UsageError(f"step '{line}': {unknown('trigger', word, _TRIGGERS)}")


def _when(rest: str, line: str) -> Clause:
    first, _, second = rest.partition(" ")
    if second == "done":
        return Clause("done", word=first)
    if first not in KINDS:
        raise UsageError(f"step '{line}': {unknown('alert', first, KINDS)}")
    return Clause("alert", word=first, subject=second.strip())


def _match(action: str, line: str) -> tuple[Verb, dict[str, Any]]:
    for verb in VERBS:
        found = verb.pattern.fullmatch(action)
        if found is not None:
            try:
                return verb, verb.arguments(found)
            except ValueError as fault:
                raise UsageError(f"step '{line}': {fault}") from None
    known = list(dict.fromkeys(verb.form.split(" ")[0] for verb in VERBS))
    word = action.split(" ", maxsplit=1)[0]
    if word in known:
        forms = "; ".join(verb.form for verb in VERBS if verb.form.split(" ")[0] == word)
        raise UsageError(f"step '{line}': cannot be read; known: {forms}")
    raise UsageError(f"step '{line}': {unknown('verb', word, known)}")
