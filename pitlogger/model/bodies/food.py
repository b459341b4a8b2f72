"""What a food log keeps beside readings: receiving, corrective actions, signatures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Received:
    """A piece as it came in, accepted or refused.

    ``condition`` is what was seen: cold, sealed, damaged; of what was refused, why.
    """

    piece: str
    accepted: bool
    at_ms: int
    value_mc: int | None = None
    condition: str = ""
    supplier: str | None = None
    lot: str | None = None
    timed: Literal["live", "stated", "unrecorded"] = "live"
    kind: Literal["received"] = "received"


@dataclass(frozen=True, slots=True)
class HeldByTime:
    """From ``at_ms`` on a piece is held by time, marked with the time it is thrown away.

    Six hours begin cold and never pass the policy's limit; four begin cold or hot
    (FDA Food Code 3-501.19).
    """

    piece: str
    at_ms: int
    hours: Literal[4, 6] = 4
    timed: Literal["live", "stated", "unrecorded"] = "live"
    kind: Literal["held-by-time"] = "held-by-time"

    @property
    def discard_ms(self) -> int:
        return self.at_ms + self.hours * 3_600_000


@dataclass(frozen=True, slots=True)
class CorrectiveTaken:
    """What was done about a limit not met: cause, control restored, prevention, disposition.

    ``reason`` is why food was kept; ``breach_ms`` a moment of the one breach it answers.
    """

    piece: str
    cause: str
    control_restored: str
    prevention: str
    disposition: str
    alert: str | None = None
    reason: str = ""
    breach_ms: int | None = None
    kind: Literal["corrective-taken"] = "corrective-taken"


@dataclass(frozen=True, slots=True)
class SignedOff:
    """A cook's record was reviewed up to its ``entries``-th entry, whose hash is ``head``.

    ``name`` is the signer's, who confirmed it with a PIN.
    """

    cook: str
    entries: int
    head: str
    name: str = ""
    kind: Literal["signed-off"] = "signed-off"
