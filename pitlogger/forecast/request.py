"""What a forecast is asked and what it answers: plain frozen values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from pitlogger.model.cooks import Wrap
from pitlogger.model.journal import LocalScore

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Target = Literal["wrap", "pull", "rest"]
Numbers: TypeAlias = "Sequence[float] | npt.NDArray[np.float64]"


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one channel: engine seconds, ascending, and degrees Celsius, same length."""

    t_s: Numbers = ()
    value_c: Numbers = ()

    def __post_init__(self) -> None:
        if len(self.t_s) != len(self.value_c):
            raise ValueError(
                f"a series has one time for each value: {len(self.t_s)} times, "
                f"{len(self.value_c)} values"
            )


@dataclass(frozen=True, slots=True)
class Ensemble:
    """What the physical model said at ``made_s``: log remaining hours, their spread, arrival.

    ``log_h`` is ``None`` where no member arrived. A cheap update carries it along.
    """

    made_s: float
    log_h: float | None
    sd: float
    p_reach: float


@dataclass(frozen=True, slots=True)
class Basis:
    """What an answer rested on, handed back with the next request to explain a change."""

    made_s: float
    done_s: float | None
    target_c: float
    pit_c: float | None
    slope_c_per_h: float
    wrap: Wrap | None


@dataclass(frozen=True, slots=True)
class Request:
    """A question: when does this piece reach this temperature?

    Attributes:
        piece: Piece id, echoed in the answer.
        target: ``wrap``, ``pull`` or ``rest``.
        target_c: Core temperature to reach; for ``rest`` off the pit: to fall to.
        now_s: Time of the question; later readings in the series are not looked at.
        core: Lead core since the piece went on, in bins of 10 to 60 s.
        pit: Pit at the piece over the same time; may be empty, then ``set_point_c`` counts.
        on_pit_s: When the piece went on; ``None`` where unknown (logging began later).
        set_point_c: What the pit is set to now, if anybody said.
        mass_g: Mass on the pit. thickness_mm: thickness at the thickest part.
        family: Family of the cut (``pitlogger.model.cooks.CUTS``).
        wrap: What it is wrapped in now, ``None`` if bare; ``wrapped_s`` since when.
        wrap_plan: What it will be wrapped in, ``"none"`` for never, ``None`` if not said.
        wrap_at_c: Core temperature at which that will happen; ``wrap_at_s``: or when.
        pit_change_c: Asked by what-if: the pit from now on, against the recent pit.
        others: Other cores of the piece; the answer says when the last of them is there.
        rest_s: For ``rest`` while on the pit. pulled_s: For ``rest``: when it came off.
        local: Scores of the owner's finished cooks.
        full: Run the physical model anew; if not, ``carried`` is used where present.
        previous: Basis of the answer before this one.
        by_hand: The latest readings are those of a hand probe: they may be an hour apart.
    """

    piece: str
    target: Target
    target_c: float
    now_s: float
    core: Series
    pit: Series = Series()
    on_pit_s: float | None = None
    set_point_c: float | None = None
    mass_g: float | None = None
    thickness_mm: float | None = None
    family: str = "other"
    wrap: Wrap | None = None
    wrapped_s: float | None = None
    wrap_plan: Wrap | None = None
    wrap_at_c: float | None = None
    wrap_at_s: float | None = None
    pit_change_c: float = 0.0
    others: tuple[Series, ...] = ()
    rest_s: float | None = None
    pulled_s: float | None = None
    local: tuple[LocalScore, ...] = ()
    full: bool = True
    carried: Ensemble | None = None
    previous: Basis | None = None
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """When the target is reached: seconds from ``now_s``, or ``None`` with a reason.

    Attributes:
        p10_s, p50_s, p90_s: Quantiles, given that the target is reached at all.
        p_reach: Probability of that within a day, at the present pit.
        widened: The interval is wider, since few own cooks are stored.
        reason: Why there is no time, or what stands in the way; empty if nothing does.
        change: One line when the estimate moved by more than half an hour, else empty.
        ask: What would make the forecast better if a person said it.
        last_core_s: When the slowest of several probes is there, ``None`` with one probe.
        capped: A quantile lies beyond a day and was cut off there.
        carried, basis: To be handed back with the next request.
        log_h, sd: Centre and spread before calibration, for scoring once the cook is done.
    """

    piece: str
    target: Target
    now_s: float
    p10_s: int | None = None
    p50_s: int | None = None
    p90_s: int | None = None
    p_reach: float = 0.0
    widened: bool = False
    reason: str = ""
    change: str = ""
    ask: tuple[str, ...] = ()
    last_core_s: int | None = None
    capped: bool = False
    carried: Ensemble | None = None
    basis: Basis | None = None
    log_h: float | None = None
    sd: float | None = None

    @property
    def is_unknown(self) -> bool:
        """Whether nothing can be said yet; a target that may never be reached is known."""
        return self.p50_s is None and self.basis is None
