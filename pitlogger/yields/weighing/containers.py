"""Help at the scale: which container was put down, and which piece this probably is.

Nothing here decides. A container is recognised by its mass; a steady mass is proposed as a
piece at its next checkpoint ("looks like brisket-1 at wrap: keep?") and a person keeps it
or not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pitlogger.model.cooks import Stage
from pitlogger.model.next_steps import NEXT_CHECKPOINT
from pitlogger.yields.causes import PLACE
from pitlogger.yields.learned.step_priors import usual

# Density of "something else" per unit of logarithmic mass, against which a guess must win.
_SOMETHING_ELSE = 0.2


@dataclass(frozen=True, slots=True)
class Container:
    """A pan, tray or board of known mass; ``u_g`` is the standard uncertainty of it."""

    id: str
    mass_g: float
    u_g: float = 2.0


def recognise(
    mass_g: float, library: Iterable[Container], interval_g: float = 5.0
) -> Container | None:
    """Return the container that a steady mass is, or ``None`` if none or two fit.

    A container fits within two standard uncertainties and one scale interval.
    """
    fitting = [
        container
        for container in library
        if abs(container.mass_g - mass_g) <= 2.0 * container.u_g + interval_g
    ]
    return fitting[0] if len(fitting) == 1 else None


def forgotten(rise_g: float, library: Iterable[Container], interval_g: float = 5.0) -> str | None:
    """Return the id of the container whose mass explains a rise that cannot be."""
    found = recognise(rise_g, library, interval_g)
    return found.id if found else None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A piece that could be on the scale: its stage and its last weighing."""

    piece: str
    stage: Stage
    last_checkpoint: str
    last_g: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """A guess to be kept or not; ``chance`` is among all pieces and something else."""

    piece: str
    checkpoint: str
    mass_g: float
    chance: float

    @property
    def question(self) -> str:
        where = self.checkpoint.replace("-", " ")
        return f"looks like {self.piece} {where}, {self.mass_g / 1000:.3f} kg steady: keep?"


def propose(steady_g: float, waiting: Sequence[Waiting]) -> list[Proposal]:
    """Return what a steady net mass may be, the likeliest first.

    A piece whose next checkpoint does not lie after its last weighing is left out.
    """
    if steady_g <= 0:
        return []
    weights = []
    for one in waiting:
        end = NEXT_CHECKPOINT.get(one.stage)
        if end not in PLACE or one.last_checkpoint not in PLACE or one.last_g <= 0:
            continue
        if PLACE[end] <= PLACE[one.last_checkpoint]:
            continue
        expected = usual(one.last_checkpoint, end)
        z = expected.z(steady_g / one.last_g)
        density = math.exp(-0.5 * z * z) / (expected.log_sd * math.sqrt(2.0 * math.pi))
        weights.append((one.piece, end, density))
    whole = _SOMETHING_ELSE + sum(density for _, _, density in weights)
    found = [Proposal(piece, end, steady_g, d / whole) for piece, end, d in weights]
    return sorted(found, key=lambda proposal: -proposal.chance)
