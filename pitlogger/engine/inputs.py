"""What goes into a step and what comes out of it. Time comes with each input."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from pitlogger.forecast.request import Basis, Ensemble
from pitlogger.model.journal import Body, Entry, ForecastMade, ForecastSkipped
from pitlogger.model.readings import Reading, Tagged

Target = Literal["wrap", "pull", "rest"]


class Tick(NamedTuple):
    """A whole second of engine time has come. Delays and silence are judged on ticks."""

    t_ms: int


@dataclass(frozen=True, slots=True)
class Command:
    """Somebody decided something: the body is the journal entry it becomes if accepted.

    Attributes:
        t_ms: Engine time of the decision.
        body: What was decided.
        by: Initials.
        key: Idempotency key: the same key twice is one decision.
        origin: The (run, seq) the decision had when it is replayed from a record.
        past: Id of the finished cook it is about. It was judged against that cook's journal;
            here it is only numbered and written.
    """

    t_ms: int
    body: Body
    by: str = ""
    key: str = ""
    origin: tuple[str, int] | None = None
    past: str = ""


@dataclass(frozen=True, slots=True)
class ForecastMemory:
    """What a forecast hands to the next one of the same piece."""

    carried: Ensemble | None = None
    basis: Basis | None = None


@dataclass(frozen=True, slots=True)
class ForecastResult:
    """A forecast that was asked for; takes effect at ``t_ms``, 30 s after the request."""

    t_ms: int
    body: ForecastMade | ForecastSkipped
    memory: ForecastMemory | None = None


@dataclass(frozen=True, slots=True)
class ForecastRequest:
    """Compute a forecast beside the engine and hand its result in at ``due_ms``."""

    piece: str
    target: Target
    requested_ms: int
    due_ms: int

    @property
    def of(self) -> str:
        """Tells forecasts of several targets apart."""
        return f"{self.piece}/{self.target}"


@dataclass(frozen=True, slots=True)
class SteadyMass:
    """A scale came to rest at a mass, or left it (``mass_mg`` is ``None``)."""

    channel: str
    t_ms: int
    mass_mg: int | None


Input = Reading | Tick | Command | ForecastResult
Output = Tagged | Entry | SteadyMass | ForecastRequest
