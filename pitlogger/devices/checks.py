"""One finding of the doctor."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CheckState(StrEnum):
    """How a check came out."""

    GOOD = "good"
    TROUBLE = "trouble"
    ADVICE = "advice"
    ABSENT = "absent"  # there is no such thing here, which need not matter


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at."""

    about: str
    state: CheckState
    found: str
    remedy: str = ""
