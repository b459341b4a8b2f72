"""Verdicts: limit met, limit not met, or not shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

NEVER_JUDGED = "a warning, never a verdict"
NO_PROBE = "no probe and no hand reading: not shown"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a record shows about one limit.

    ``met`` is ``None`` where the record shows neither; ``applies`` is false where the limit
    has nothing to do with the piece. ``reason`` is for people.
    """

    applies: bool
    met: bool | None
    source: str
    reason: str

    def document(self) -> dict[str, Any]:
        return {
            "applies": self.applies,
            "met": self.met,
            "source": self.source,
            "reason": self.reason,
        }


def not_concerned(source: str, reason: str) -> Verdict:
    """Return the verdict of a limit that does not apply."""
    return Verdict(False, None, source, reason)


def worst(verdicts: list[bool | None]) -> bool | None:
    """Return false if any is false, else ``None`` if any is not shown, else true."""
    if False in verdicts:
        return False
    return None if None in verdicts or not verdicts else True


def in_words(met: bool | None) -> str:
    """Return a verdict in words; food itself is never given a good name."""
    return {True: "limit met", False: "limit not met", None: "not shown"}[met]
