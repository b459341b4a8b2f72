"""The clocks of a piece as they would be without its last hand reading, should it be taken back."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.safety.live import PieceClocks


@dataclass(slots=True)
class Without:
    """Clocks that go on beside the real ones, without the hand reading ``entry``, ``run/seq``."""

    entry: str
    clocks: PieceClocks
