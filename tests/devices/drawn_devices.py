"""Devices whose layout is drawn at random, and a person who points at one of their probes.

Shares no code with what is tested: numbers are written with ``struct`` and by hand.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from random import Random

from pitlogger.devices.contract import Chunk
from pitlogger.devices.pointing.evidence import Evidence, Moment

KINDS = ("i16", "u16", "i16", "u16", "u8", "i32", "f32", "bcd16")
SIZE = {"u8": 1, "i16": 2, "u16": 2, "bcd16": 2, "i32": 4, "f32": 4}


@dataclass
class Drawn:
    """One device.

    Attributes:
        at: Offset of each probe's number.
        empty: What a field holds without a probe, as it stands in the frame.
        status: What stands behind the field of the probe pointed at: while it is plugged in, and
            while it is not.
    """

    random: Random
    kind: str
    order: str
    unit: str
    scale: float
    add: float
    length: int
    at: list[int]
    empty: bytes
    prefix: bytes
    counter_at: int | None
    battery_at: int | None
    other_length: int | None
    true_c: list[float | None] = field(default_factory=list)
    count: int = 0
    filler: bytes = b""
    status: tuple[bytes, bytes] = (b"", b"")

    def number(self, true_c: float) -> float | None:
        """Return the raw number a device has for a temperature; ``None`` beyond its range."""
        value = true_c * 1.8 + 32 if self.unit == "degF" else true_c
        raw = (value - self.add) / self.scale
        low, high = {
            "u8": (0, 250), "i16": (-32700, 32700), "u16": (0, 65000), "bcd16": (0, 9900),
            "i32": (-(2**31), 2**31 - 1), "f32": (-1e9, 1e9),
        }[self.kind]  # fmt: skip
        if low - 2 / self.scale <= raw < low:
            return low  # ice water: it shows the least it can
        return raw if low <= raw <= high else None

    def shows(self, true_c: float) -> bool:
        """Tell whether it can show a temperature as it is."""
        raw = self.number(true_c)
        if raw is None:
            return False
        value = raw * self.scale + self.add
        shown_c = (value - 32) / 1.8 if self.unit == "degF" else value
        return abs(shown_c - true_c) < 0.01

    def written(self, true_c: float | None) -> bytes:
        """Return the bytes of a temperature."""
        raw = None if true_c is None else self.number(true_c)
        if raw is None:
            return self.empty
        big = self.order == "big"
        if self.kind == "f32":
            return struct.pack(">f" if big else "<f", raw)
        if self.kind == "bcd16":
            digits = f"{round(raw):04d}"
            high, low = int(digits[:2], 16), int(digits[2:], 16)
            return bytes((high, low)) if big else bytes((low, high))
        code = {"u8": "B", "i16": "h", "u16": "H", "i32": "i"}[self.kind]
        return struct.pack((">" if big else "<") + code, round(raw))

    def frame(self, true_c: list[float | None] | None = None) -> bytes:
        """Return the next frame."""
        data = bytearray(self.filler)
        data[: len(self.prefix)] = self.prefix
        for at, value in zip(self.at, true_c or self.true_c, strict=True):
            written = self.written(value)
            said = self.status[value is None]
            data[at : at + len(written) + len(said)] = written + said
        if self.counter_at is not None:
            data[self.counter_at] = self.count & 0xFF
        if self.battery_at is not None:
            data[self.battery_at] = 87
        self.count += 1
        return bytes(data)

    def chunks(self, count: int) -> tuple[Chunk, ...]:
        """Return what comes in a while, frames of another kind between."""
        found = []
        for _ in range(count):
            noisy = [None if t is None else t + self.random.uniform(-0.1, 0.1) for t in self.true_c]
            found.append(Chunk("fff1", self.frame(noisy)))
            if self.other_length is not None and self.random.random() < 0.4:
                filler = self.random.randbytes(self.other_length - 1)
                found.append(
                    Chunk("fff1", bytes(self.prefix or b"\x77") + filler[: self.other_length - 1])
                )
        return tuple(found)


def draw(random: Random) -> Drawn:
    """Draw a device."""
    kind = random.choice(KINDS)
    order = random.choice(("little", "big"))
    unit = random.choice(("Cel", "degF"))
    scales = {
        "u8": (1.0,), "i16": (0.1, 0.01, 1.0, 0.5, 0.0625), "u16": (0.1, 0.01, 0.5),
        "bcd16": (0.1,), "i32": (0.01, 0.001, 0.1), "f32": (1.0,),
    }[kind]  # fmt: skip
    scale = random.choice(scales)
    add = 0.0
    if kind in ("u8", "u16", "bcd16") and random.random() < 0.5:
        add = -40.0
    size = SIZE[kind]
    probes = random.choice((1, 1, 2, 3, 4))
    stride = size + random.choice((0, 0, 0, 1, 2))
    start = random.randrange(0, 6)
    length = start + stride * (probes - 1) + size + random.randrange(0, 5)
    at = [start + stride * number for number in range(probes)]
    used = {a + n for a in at for n in range(size)}
    free = [n for n in range(length) if n not in used]
    prefix = bytes(
        random.randrange(1, 256) for _ in range(random.choice((0, 1, 2, start)) if start else 0)
    )
    prefix = prefix[:start]
    free = [n for n in free if n >= len(prefix)]
    random.shuffle(free)
    counter_at = free.pop() if free and random.random() < 0.5 else None
    battery_at = free.pop() if free and random.random() < 0.5 else None
    empty = {
        "u8": b"\xff", "i16": random.choice((b"\xff\x7f", b"\x00\x80", b"\xff\xff")),
        "u16": b"\xff\xff", "bcd16": b"\x99\x99", "i32": b"\xff\xff\xff\x7f",
        "f32": struct.pack("<f", float("nan")),
    }[kind]  # fmt: skip
    device = Drawn(
        random, kind, order, unit, scale, add, length, at,
        empty[::-1] if order == "big" else empty, prefix, counter_at, battery_at,
        random.choice((None, None, length + random.randrange(1, 6))),
    )  # fmt: skip
    device.filler = bytes(random.choice((0, 0, 0xFF, random.randrange(256))) for _ in range(length))
    gap = stride - size if probes > 1 else length - at[0] - size
    if random.random() < 0.4:  # as many bytes as fit; all of a record is often filled with one
        device.status = (bytes(gap), random.choice((b"\xff", b"\x01", b"\x80", b"\x7f")) * gap)
        for beside in (device.counter_at, device.battery_at):
            if beside is not None and any(a + size <= beside < a + size + gap for a in at):
                device.status = (b"", b"")
    room_c = random.uniform(17.0, 26.0)
    device.true_c = [room_c + random.uniform(-0.5, 0.5) for _ in at]
    return device


def pointed(device: Drawn) -> tuple[Evidence, int]:
    """Point at a device as a person does; return what was seen, and the probe that was warmed."""
    random = device.random
    mine = random.randrange(len(device.at))
    rest = device.chunks(8)
    warmed: tuple[Chunk, ...] = ()
    room_c = device.true_c[mine]
    assert room_c is not None
    for step in range(15):
        device.true_c[mine] = 34.0 - (34.0 - room_c) * 0.85**step
        warmed += device.chunks(1)
    moments = []
    for true_c in (0.0, random.choice((34.0, 60.0, 95.0))):
        device.true_c[mine] = true_c + random.uniform(-0.3, 0.3)
        typed = true_c + random.uniform(-0.3, 0.3)
        moments.append(Moment(typed, device.chunks(4)))
    device.true_c[mine] = room_c
    before = device.chunks(2)
    device.true_c[mine] = None
    pulled = device.chunks(4)
    return Evidence(rest, warmed, tuple(moments), (*before[-1:], *pulled)), mine
