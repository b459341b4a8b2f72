"""What was sent while a reference stood at a known value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitlogger.devices.contract import Chunk
from pitlogger.errors import RefusedError
from pitlogger.model.quantities import Quantity

BASE_UNIT = {Quantity.TEMPERATURE: "Cel", Quantity.MASS: "g"}
# Ours: two thermometers in one bath, and two scales, agree so far.
WITHIN = {Quantity.TEMPERATURE: 1.5, Quantity.MASS: 10.0}
LEAST = 3  # moments; two points lie on a line of any bytes
_SPREAD = 5.0  # times ``within`` that the references must differ at least


@dataclass(frozen=True, slots=True)
class Moment:
    """One reference with the chunks around it.

    Attributes:
        reference: Degrees Celsius or grams; ``None`` where the probe was pulled or the pan
            overloaded, so that what is sent then means "no value".
        chunks: What came, oldest first: whole frames, or whole lines.
    """

    reference: float | None
    chunks: tuple[Chunk, ...]


def valued(moments: Sequence[Moment]) -> list[tuple[float, Moment]]:
    """Return the moments that have a reference, with it."""
    return [(moment.reference, moment) for moment in moments if moment.reference is not None]


def check_enough(moments: Sequence[Moment], quantity: Quantity, within: float) -> None:
    """Refuse moments that no layout can be determined from.

    Raises:
        RefusedError: Fewer than three, or references that lie too close together.
    """
    references = [reference for reference, _ in valued(moments)]
    unit = BASE_UNIT[quantity]
    if len(references) < LEAST:
        raise RefusedError(
            f"{len(references)} moments with a value: at least {LEAST} are needed, "
            "better five, up and down in no order"
        )
    spread = max(references) - min(references)
    if spread < _SPREAD * within:
        raise RefusedError(
            f"the references differ by {spread:g} {unit} only: at least "
            f"{_SPREAD * within:g} {unit} are needed, such as ice water, the room and hot water"
        )
