"""What a person has at hand: the kitchen, and a way to tell pitlogger what was decided."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from pitlogger.model.journal import Body
from pitlogger_simulators.people.kitchen import Kitchen


@dataclass(frozen=True, slots=True)
class Saying:
    """A decision on its way to pitlogger; ``key`` finds the answer."""

    key: str
    body: Body
    by: str


@dataclass(slots=True)
class HandAction:
    """What somebody did, for the truth file and the story."""

    t_ms: int
    by: str
    text: str
    piece: str = ""


@dataclass(slots=True)
class Hand:
    """A person's hands and mouth.

    Attributes:
        steady_mg: Asks pitlogger for the steady mass of a scale, ``None`` while it moves.
        answers: Entry (run, seq) of each decision by its key; ``None`` where it was refused.
        at_scale: Stands at the scale and waits for it.
        pieces: Stage last told, by piece.
    """

    kitchen: Kitchen
    by: str
    rng: random.Random
    steady_mg: Callable[[str], int | None]
    now_ms: int = 0
    outbox: list[Saying] = field(default_factory=list)
    answers: dict[str, tuple[str, int] | None] = field(default_factory=dict)
    done: list[HandAction] = field(default_factory=list)
    at_scale: bool = False
    is_asleep: bool = False
    is_deaf: bool = False
    was_woken: bool = False
    last_weighing: dict[tuple[str, str], str] = field(default_factory=dict)
    _said: int = 0

    def say(self, body: Body) -> str:
        """Tell pitlogger a decision; return the key of its answer."""
        self._said += 1
        key = f"{self.by.casefold()}-{self._said}"
        self.outbox.append(Saying(key, body, self.by))
        return key

    def tell(self, text: str, piece: str = "") -> None:
        """Note what was done."""
        self.done.append(HandAction(self.now_ms, self.by, text, piece))

    def about(self, seconds: float) -> float:
        """Return a time that is seldom quite the same."""
        return seconds * self.rng.uniform(0.8, 1.25)
