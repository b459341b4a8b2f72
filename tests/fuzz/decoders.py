"""Coverage-guided fuzzing of the decoders: a measurement or a named error, nothing else.

    python tests/fuzz/decoders.py 1000000            frames a decoder, all decoders
    python tests/fuzz/decoders.py 1000000 scpi w1    these

Each decoder runs in a process of its own, since the fuzzer ends its process. A frame that
breaks the rule is written beside this command's working folder as ``crash-...``.
"""

from __future__ import annotations

import math
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import atheris

INSTRUMENTED = ["pitlogger_drivers", "pitlogger.devices"]
with atheris.instrument_imports(include=INSTRUMENTED):
    from pitlogger.devices.contract import Chunk, Decoder, Measurement, milli_units
    from pitlogger.devices.decoders import DecodeOptions, load, names
    from pitlogger.devices.framing import StreamDecoder
    from pitlogger.errors import DecodeError

DECLARED = """
name = "any"
[source]
kind = "serial"
line = '(?P<a>[^,]*)(,(?P<b>.*))?'
[[value]]
channel = "a"
group = "a"
unit = "Cel"
[[value]]
channel = "b"
group = "b"
unit = "kg"
[[value]]
channel = "couple"
group = "b"
unit = "Cel"
convert = "type-k mV=*,cj=@a"
[[value]]
channel = "bead"
group = "a"
unit = "Cel"
convert = "thermistor R=*,R25=100k,beta=3950"
"""
OPTIONS = {
    "modbus": DecodeOptions(map="0:i16:0.1:Cel,0:f32-be:1:degF,1:u32-le:0.001:kg"),
    "declared": DecodeOptions(declaration=DECLARED),
}
LONGEST = 300


def check(decoder: Decoder, data: bytes) -> None:
    """Raise ``AssertionError`` unless the bytes give measurements or named errors."""
    outcomes = list(decoder.feed(Chunk("", data)))
    if isinstance(decoder, StreamDecoder):
        outcomes += decoder.finish()
    for found in outcomes:
        if isinstance(found, DecodeError):
            assert type(found) is not DecodeError
            assert str(found)
        else:
            assert isinstance(found, Measurement)
            if found.value is not None:
                assert math.isfinite(found.value)
                assert abs(milli_units(found.value, found.unit)) < 2**63


def fuzz(name: str, count: int, corpus: Path) -> None:
    """Feed ``count`` frames to one decoder; does not return."""
    with atheris.instrument_imports(include=INSTRUMENTED):
        info = load(name)
    build = info.build
    options = OPTIONS.get(name, DecodeOptions())
    words = shlex.split(info.example)
    if words:
        is_hex = words[0] == "--hex"
        seed = bytes.fromhex(words[1]) if is_hex else words[1].encode()
        (corpus / "seed").write_bytes(seed.replace(b"\\n", b"\n").replace(b"\\r", b"\r"))
    arguments = [sys.argv[0], f"-runs={count}", f"-max_len={LONGEST}", "-verbosity=0", str(corpus)]
    atheris.Setup(arguments, lambda data: check(build(options), data))
    atheris.Fuzz()


def main() -> int:
    """Run each decoder in turn; return 1 if one broke the rule."""
    if "--one" in sys.argv:
        with tempfile.TemporaryDirectory() as corpus:
            fuzz(sys.argv[2], int(sys.argv[3]), Path(corpus))
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    failed = 0
    for name in sys.argv[2:] or [*names(), "declared"]:
        began_s = time.monotonic()
        command = [sys.executable, __file__, "--one", name, str(count)]
        done = subprocess.run(command, check=False, capture_output=True, text=True)
        verdict = "kept the rule" if done.returncode == 0 else "BROKE THE RULE"
        print(f"{name}: {count} frames, {verdict}, {time.monotonic() - began_s:.0f} s", flush=True)
        if done.returncode:
            print(done.stderr[-3000:])
            failed = 1
    return failed


if __name__ == "__main__":
    sys.exit(main())
