"""How many frames or lines each decoder reads in a second.

    python tests/benchmarks/decoders.py            all decoders, as JSON
    python tests/benchmarks/decoders.py scpi w1    these

Each decoder is fed its own example through ``feed``, as the supervisor does; BTHome gets
frames whose packet id grows. The best of five rounds counts: the others were disturbed.
"""

from __future__ import annotations

import json
import shlex
import sys
import time
from itertools import cycle, islice
from typing import TypedDict

from pitlogger.cli.instruments.decode import _unescape
from pitlogger.devices.contract import Chunk, Decoder
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo, load, names

ROUNDS, ROUND_S = 5, 0.05
BTHOME = [bytes([0x40, 0x00, number, 0x02, 0xCA, 0x09]) for number in range(256)]


class Row(TypedDict):
    id: str
    value: float
    unit: str


def rows(wanted: list[str] | None = None) -> list[Row]:
    """Return frames a second of each decoder."""
    return [
        {"id": f"decode-{name}", "value": round(_frames_per_s(load(name))), "unit": "frames/s"}
        for name in wanted or names()
    ]


def _frames_per_s(info: DecoderInfo) -> float:
    words = shlex.split(info.example)
    options = DecodeOptions(map=words[words.index("--map") + 1] if "--map" in words else "")
    data = bytes.fromhex(words[1]) if words[0] == "--hex" else _unescape(words[1])
    frames = BTHOME if info.name == "bthome" else [data]
    decoder = info.build(options)
    count = 64
    while (took_s := _took_s(decoder, frames, count)) < ROUND_S:
        count *= 2
    return count / min(took_s, *(_took_s(decoder, frames, count) for _ in range(ROUNDS - 1)))


def _took_s(decoder: Decoder, frames: list[bytes], count: int) -> float:
    chunks = [Chunk("", data) for data in islice(cycle(frames), count)]
    feed = decoder.feed
    began_s = time.perf_counter()
    for chunk in chunks:
        feed(chunk)
    return time.perf_counter() - began_s


if __name__ == "__main__":
    print(json.dumps(rows(sys.argv[1:]), indent=1))
