"""Stuck: a value that does not move though it must.

Two things say that a value must move. Its own noise: once a channel has shown how often its
readings change, a run of equal ones can be so long that this noise never makes it. And heat:
raw meat on a hot pit gets warmer, so a core that stands still there is no core. Standing still
alone says nothing. A core stands for hours in the stall, and a display of whole degrees shows
it as one number.

How often readings change is counted over stretches in which the value moved by five of its
steps, so that it was everywhere between two steps alike: at the edge of a step a quiet channel
flickers too. The noise of a channel with changes in ``RESTLESS`` of its readings is over a
quarter of its step; in the worst place, midway between two steps, one reading in nine then
still differs from the one before it. Limits are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

STEPS_MOVED = 5
LEAST_COUNTED = 60
RESTLESS = 0.3
QUIET_READINGS = 150  # (8/9)**150 is two in a hundred million
QUIET_MS = 10 * 60_000
# Heat: "in the rise" is below the stall, where a core on a hot pit cannot stand.
RISING_UNDER_MC = 50_000
RISING_OVER_MC = 10_000  # and not quite cold, where frozen meat stands while it thaws
HOTTER_PIT_MC = 40_000
STILL_IN_RISE_MS = 40 * 60_000
STILL_READINGS = 20


@dataclass(slots=True)
class Stillness:
    """How often the readings of one channel change, and since when they do not; plain fields.

    Attributes:
        since_ms: When the present value was first read, ``None`` before the first reading.
        run: How many readings since then were equal to it.
        step: Smallest change seen, milli-degC: what the device resolves.
        share: Share of readings that differed from the one before, ``None`` until it is known.
        counted, changed, from_mc: The stretch that is being counted.
    """

    since_ms: int | None = None
    run: int = 0
    step: int = 0
    share: float | None = None
    counted: int = 0
    changed: int = 0
    from_mc: int = 0

    def change(self, t_ms: int, milli_c: int, last_mc: int) -> None:
        """Take a reading that differs from the last one."""
        if self.since_ms is None:
            self.from_mc = milli_c
        moved = abs(milli_c - last_mc)
        self.step = min(self.step, moved) if self.step else moved
        self.counted += self.run + 1
        self.changed += 1
        self.since_ms, self.run = t_ms, 0
        if self.counted < LEAST_COUNTED:
            return
        if abs(milli_c - self.from_mc) >= STEPS_MOVED * self.step:
            self.share = self.changed / self.counted
            self.counted = self.changed = 0
            self.from_mc = milli_c

    def restart(self) -> None:
        """Begin anew, as when the channel is put somewhere else."""
        self.since_ms, self.run, self.counted, self.changed = None, 0, 0, 0

    def still_ms(self, t_ms: int) -> int:
        """Return for how long every reading was the same."""
        return 0 if self.since_ms is None else t_ms - self.since_ms

    def defies_noise(self, t_ms: int) -> bool:
        """Return whether the channel's own noise would have moved it by now."""
        return (
            self.share is not None
            and self.share >= RESTLESS
            and self.run >= QUIET_READINGS
            and self.still_ms(t_ms) >= QUIET_MS
        )

    def defies_heat(self, t_ms: int, core_mc: int, pit_mc: int | None) -> bool:
        """Return whether a core on the pit would have got warmer by now.

        Args:
            pit_mc: Level of its pit, ``None`` where no probe reads it: then nothing is said.
        """
        return (
            pit_mc is not None
            and RISING_OVER_MC <= core_mc < RISING_UNDER_MC
            and pit_mc >= core_mc + HOTTER_PIT_MC
            and self.run >= STILL_READINGS
            and self.still_ms(t_ms) >= STILL_IN_RISE_MS
        )
