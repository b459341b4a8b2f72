"""The clocks of a piece as they would be without its last hand reading, should it be taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitlogger.engine.state import ChannelState
from pitlogger.engine.watch.cores import SPOT_VALID_MS, extremes
from pitlogger.safety.live import PieceClocks


@dataclass(slots=True)
class Without:
    """Clocks that go on beside the real ones.

    Attributes:
        entry: The hand reading they leave out, ``run/seq``.
        earlier: The hand reading that stood before it, if any.
    """

    entry: str
    clocks: PieceClocks
    earlier: ChannelState | None

    def update(self, cores: Sequence[ChannelState], t_ms: int, *, whole: bool) -> None:
        """Take the cores that are valid at a time, the hand reading among them or not."""
        held = [core for core in cores if not core.id.endswith("/spot")]
        if self.earlier is not None and t_ms - self.earlier.good_ms <= SPOT_VALID_MS:
            held.append(self.earlier)
        if (found := extremes(held)) is not None:
            self.clocks.update(t_ms, *found, whole=whole, sure=len(held) > 1)
