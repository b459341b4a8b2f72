"""What guests are usually given, by kind of service; the figures and sources are in the policy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

ServiceKind = Literal["plated", "buffet", "sandwich"]
SERVICE_KINDS: tuple[ServiceKind, ...] = get_args(ServiceKind)


@dataclass(frozen=True, slots=True)
class PortionPractice:
    """Cooked meat for an adult.

    Attributes:
        usual_g: A usual portion, of all meats together.
        least_g: Under it trade practice speaks of too little.
        spread: Standard deviation from guest to guest, as a share of the portion.
        source: Of the figures.
    """

    usual_g: float
    least_g: float
    spread: float
    source: str
