"""Faults of devices and of the ways to them, composable over any channel or device.

A value fault changes what an instrument shows, a frame fault what becomes of its bytes, a
link fault whether anything comes at all. Each has a beginning and an end, and several may
act at once. Same seed, same faults.

    kind         amount means                     strikes
    drift        C (or g) an hour                 value
    bias         C (or g)                         value
    stuck        -                                value: the first one of the span stays
    noise        standard deviation, C (or g)     value
    open         -                                value: "no value, open"
    shorted      -                                value: "no value, shorted"
    overload     -                                value: "no value, overload"
    low-battery  percent                          the device's battery level
    drop         share of the frames              frames
    silence      -                                frames: none comes, the link stays
    split        -                                frames: each comes in two pieces
    merge        how many                         frames: come together as one
    bits         share of the frames              frames: one bit is flipped
    disconnect   -                                link of a device; with a ``step``, at that step
    adapter-gone -                                link of every Bluetooth device
    clock-step   seconds                          the wall clock of the host (on = "clock")
    power-cut    -                                the host itself (on = "node")

Steps at which a live link may break: ``idle`` (it is simply gone, as without a step),
``mid-frame`` (half of a frame comes, then it is gone), and ``connect``, ``discover``,
``subscribe`` (the device is in reach, and each try is lost there). In a capture, where nothing
connects, every disconnect is silence.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pitlogger.model.readings import Quality
from pitlogger_simulators.devices.instruments import Sample

VALUE_KINDS = ("drift", "bias", "stuck", "noise", "open", "shorted", "overload")
FRAME_KINDS = ("drop", "silence", "split", "merge", "bits")
LINK_KINDS = ("disconnect", "adapter-gone")
HOST_KINDS = ("clock-step", "power-cut")
KINDS = (*VALUE_KINDS, "low-battery", *FRAME_KINDS, *LINK_KINDS, *HOST_KINDS)
STEPS = ("idle", "mid-frame", "connect", "discover", "subscribe")
_TRIES = ("connect", "discover", "subscribe")
_NO_VALUE = {"open": Quality.OPEN, "shorted": Quality.SHORTED, "overload": Quality.OVERLOAD}
_HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a channel or a device, from ``from_ms`` up to ``to_ms``."""

    on: str
    kind: str
    from_ms: int
    to_ms: int
    amount: float = 0.0
    step: str = "idle"

    def acts(self, t_ms: int, names: Iterable[str]) -> bool:
        """Return whether it acts at a time on any of the names."""
        return self.from_ms <= t_ms < self.to_ms and self.on in names


@dataclass(slots=True)
class Faults:
    """All faults of a scenario; keeps what some of them must remember."""

    faults: tuple[Fault, ...]
    rng: random.Random
    _stuck: dict[Fault, Sample] = field(default_factory=dict)
    _waiting: dict[Fault, list[bytes]] = field(default_factory=dict)
    _cut: set[Fault] = field(default_factory=set)

    def value(self, channel: str, device: str, t_ms: int, sample: Sample) -> Sample:
        """Return what an instrument shows with its faults."""
        for fault in self.faults:
            if fault.kind in VALUE_KINDS and fault.acts(t_ms, (channel, device)):
                sample = self._change(fault, t_ms, sample)
        return sample

    def _change(self, fault: Fault, t_ms: int, sample: Sample) -> Sample:
        if fault.kind in _NO_VALUE:
            return Sample(None, _NO_VALUE[fault.kind])
        if fault.kind == "stuck":
            return self._stuck.setdefault(fault, sample)
        if sample.value is None:
            return sample
        if fault.kind == "drift":
            added = fault.amount * (t_ms - fault.from_ms) / _HOUR_MS
        elif fault.kind == "noise":
            added = self.rng.gauss(0.0, fault.amount)
        else:
            added = fault.amount
        return sample._replace(value=sample.value + added)

    def is_linked(self, device: str, t_ms: int, bluetooth: bool = False) -> bool:
        """Return whether a device can be reached."""
        return not any(
            fault.kind in LINK_KINDS
            and (fault.acts(t_ms, (device,)) or (bluetooth and fault.acts(t_ms, ("adapter",))))
            for fault in self.faults
        )

    def is_in_reach(self, device: str, t_ms: int, bluetooth: bool = False) -> bool:
        """Return whether the link of a live device stands, but for tries that are lost."""
        return not any(
            fault.kind in LINK_KINDS
            and (fault.acts(t_ms, (device,)) or (bluetooth and fault.acts(t_ms, ("adapter",))))
            and (fault.step == "idle" or fault in self._cut)
            for fault in self.faults
        )

    def lost_tries(self, device: str, t_ms: int) -> frozenset[str]:
        """Return the steps at which each try to reach a live device is lost."""
        return frozenset(
            fault.step
            for fault in self.faults
            if fault.kind == "disconnect" and fault.step in _TRIES and fault.acts(t_ms, (device,))
        )

    def delivers(self, channel: str, device: str, t_ms: int, has_bytes: bool = True) -> bool:
        """Return whether a frame comes at all.

        Args:
            has_bytes: There are bytes to be flipped; without them such a frame is simply lost.
        """
        losing = ("drop",) if has_bytes else ("drop", "bits")
        for fault in self.faults:
            if fault.acts(t_ms, (channel, device)) and (
                fault.kind == "silence"
                or (fault.kind in losing and self.rng.random() < fault.amount)
            ):
                return False
        return True

    def frames(self, device: str, t_ms: int, frames: Sequence[bytes]) -> list[bytes]:
        """Return the bytes of some frames as the transport hands them over."""
        given = list(frames)
        for fault in self.faults:
            if not fault.acts(t_ms, (device,)):
                continue
            if fault.kind == "bits":
                given = [self._flip(frame, fault.amount) for frame in given]
            elif fault.kind == "split":
                given = [piece for frame in given for piece in self._split(frame)]
            elif fault.kind == "merge":
                given = self._merge(fault, given)
            elif fault.step == "mid-frame" and given:
                given = [given[0][: len(given[0]) // 2]] if fault not in self._cut else []
                self._cut.add(fault)
        return given

    def battery_pct(self, device: str, t_ms: int, level_pct: float) -> float:
        """Return the level a device tells of its battery."""
        levels = [
            fault.amount
            for fault in self.faults
            if fault.kind == "low-battery" and fault.acts(t_ms, (device,))
        ]
        return min([level_pct, *levels])

    def clock_step_ms(self, t_ms: int) -> int:
        """Return by how much the wall clock is wrong at a time."""
        return sum(
            round(fault.amount * 1000)
            for fault in self.faults
            if fault.kind == "clock-step" and fault.acts(t_ms, ("clock",))
        )

    def has_adapter(self, t_ms: int) -> bool:
        """Return whether the Bluetooth adapter is plugged in."""
        return not any(f.kind == "adapter-gone" and f.acts(t_ms, ("adapter",)) for f in self.faults)

    def has_power(self, t_ms: int) -> bool:
        """Return whether the host runs."""
        return not any(f.kind == "power-cut" and f.acts(t_ms, ("node",)) for f in self.faults)

    def _flip(self, frame: bytes, share: float) -> bytes:
        if not frame or self.rng.random() >= share:
            return frame
        at = self.rng.randrange(len(frame) * 8)
        data = bytearray(frame)
        data[at // 8] ^= 1 << at % 8
        return bytes(data)

    def _split(self, frame: bytes) -> list[bytes]:
        if len(frame) < 2:
            return [frame]
        at = self.rng.randrange(1, len(frame))
        return [frame[:at], frame[at:]]

    def _merge(self, fault: Fault, frames: list[bytes]) -> list[bytes]:
        waiting = self._waiting.setdefault(fault, [])
        waiting.extend(frames)
        if len(waiting) < max(2, round(fault.amount)):
            return []
        merged = b"".join(waiting)
        waiting.clear()
        return [merged]
