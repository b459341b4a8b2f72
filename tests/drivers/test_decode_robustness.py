"""Every decoder, on anything: a measurement or a named error, nothing else.

Also streams: whole, byte by byte, and with bytes before and after, with one result.
"""

from __future__ import annotations

import math
import os
import shlex
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pitlogger.cli.instruments.decode import _unescape
from pitlogger.devices.contract import Chunk, Decoder, Measurement, milli_units
from pitlogger.devices.decoders import DecodeOptions, load, names
from pitlogger.devices.framing import StreamDecoder
from pitlogger.errors import DecodeError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "150"))  # a decoder
UNITS = {"kg", "g", "lb", "oz", "mg", "Cel", "degF", "%RH", "%EL", "dBm", "V", "Pa", ""}
DECLARATION = """
name = "tray-probe"
[source]
kind = "gatt"
characteristic = "0000fff1-0000-1000-8000-00805f9b34fb"
[[value]]
channel = "core"
at = 1
type = "f32"
unit = "Cel"
[[value]]
channel = "code"
at = 0
type = "bcd32"
unit = "g"
"""
OPTIONS = {
    "modbus": DecodeOptions(map="0:i16:0.1:Cel,0:f32-be:1:degF,1:u32-le:0.001:kg"),
    "declared": DecodeOptions(declaration=DECLARATION),
}
ENCRYPTED = DecodeOptions(key=bytes(range(16)), address="54:48:E6:8F:80:A5")
NAMES = [*names(), "declared"]
STREAMS = ["serial-scale", "sma-scale", "csv-line", "scpi"]


INFO = {name: load(name) for name in NAMES}


def build(name: str) -> Decoder:
    return INFO[name].build(OPTIONS.get(name, DecodeOptions()))


def example_bytes(name: str) -> bytes:
    """Return the bytes of a decoder's own example."""
    words = shlex.split(INFO[name].example)
    form, text = words[0], words[1]
    return bytes.fromhex(text) if form == "--hex" else _unescape(text)


def check(outcomes: list[Measurement | DecodeError]) -> None:
    for found in outcomes:
        if isinstance(found, DecodeError):
            assert type(found) is not DecodeError
            assert len(str(found)) > 10
            continue
        assert isinstance(found, Measurement)
        assert found.channel
        assert isinstance(found.quantity, Quantity)
        assert found.unit in UNITS
        is_given = found.value is not None or bool(found.text)
        assert is_given or found.quality is not Quality.GOOD
        if found.value is not None:
            assert isinstance(found.value, float)
            assert math.isfinite(found.value)
            assert abs(milli_units(found.value, found.unit)) < 2**63


FRAGMENTS = st.sampled_from(
    [
        b"ST,GS,+  1.234kg\r\n",
        b"OL",
        b"\x02",
        b"\x03",
        b"\r",
        b"\n",
        b" 1G       7.650kg \r",
        b"kg",
        b"1e400",
        b"mV=4.096,cj=25",
        b"R=10k,",
        b"adc=100,Rs=10k,",
        b"R25=100k,beta=3950",
        b"a=1e-3,b=2e-4,c=1e-7",
        b"=",
        b",",
        b"crc=70 YES\n",
        b"91 01 4b 46 7f ff 0c 10 70 : ",
        b"t=25062",
        b"in_temp_raw=1 ",
        b"in_temp_scale=2 ",
        b"*1F",
        b"fault_oc=1 ",
        b"temp1_input=5 ",
        b"temp1_fault=1 ",
        b"<ENODATA>",
        b"nan",
        b"-",
        b"9.91E37",
        b'{"t":[1,',
        b"]}",
        b"\x40\x02\xca\x09",
        b"\x44\x3a\x01",
        b"\x41",
        b"\x03\x04\x02\x00",
        b"\x01\x03\x04",
        b"\xff\xff\x7f\x00",
    ]
)
BYTES = st.one_of(
    st.binary(max_size=40),
    st.lists(st.one_of(FRAGMENTS, st.binary(max_size=3)), max_size=8).map(b"".join),
    st.text('0123456789+-., eEkglbozSTUSOLGN=\r\n\x02\x03?*#{}[]":', max_size=60).map(str.encode),
)


@pytest.mark.parametrize("name", NAMES)
@given(chunks=st.lists(BYTES, min_size=1, max_size=4))
@settings(max_examples=EXAMPLES, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_anything_gives_a_measurement_or_a_named_error(name: str, chunks: list[bytes]) -> None:
    decoder = build(name)
    for data in chunks:
        check(list(decoder.feed(Chunk("", data))))
    if isinstance(decoder, StreamDecoder):
        check(list(decoder.finish()))


@given(chunks=st.lists(BYTES, min_size=1, max_size=4))
@settings(max_examples=EXAMPLES, deadline=None)
def test_anything_to_an_encrypted_device_is_refused(chunks: list[bytes]) -> None:
    decoder = load("bthome").build(ENCRYPTED)
    for data in chunks:
        outcomes = list(decoder.feed(Chunk("", data)))
        assert all(isinstance(found, DecodeError) for found in outcomes)
        assert outcomes


@pytest.mark.parametrize("name", [name for name in NAMES if name != "declared"])
def test_each_bit_flipped_and_each_cut_of_the_example(name: str) -> None:
    raw = example_bytes(name)
    for at in range(len(raw)):
        check(list(build(name).feed(Chunk("", raw[:at]))))
        for bit in range(8):
            damaged = bytearray(raw)
            damaged[at] ^= 1 << bit
            check(list(build(name).feed(Chunk("", bytes(damaged)))))


@pytest.mark.parametrize("name", [name for name in NAMES if name != "declared"])
def test_decoding_is_deterministic(name: str) -> None:
    raw = example_bytes(name)
    assert outcomes_of(build(name), [raw]) == outcomes_of(build(name), [raw])


def outcomes_of(decoder: Decoder, pieces: list[bytes]) -> list[object]:
    """Return measurements, and the type and text of errors, in order."""
    found = [one for data in pieces for one in decoder.feed(Chunk("", data))]
    return [(type(one), str(one)) if isinstance(one, DecodeError) else one for one in found]


@pytest.mark.parametrize("name", STREAMS)
@given(data=BYTES, cuts=st.lists(st.integers(0, 80), max_size=5))
@example(data=b"A" * 300 + b"\r\n1.2 kg\r\n", cuts=[10, 257])
@example(data=b"1.2 kg\r\n\r\n\x021.3kg\x03\r\n", cuts=[7, 8, 9])
@settings(max_examples=EXAMPLES, deadline=None)
def test_stream_gives_the_same_whole_in_pieces_and_byte_by_byte(
    name: str, data: bytes, cuts: list[int]
) -> None:
    edges = [0, *sorted(cuts), len(data)]
    pieces = [data[low:high] for low, high in pairwise(edges)]
    whole = outcomes_of(build(name), [data])
    assert outcomes_of(build(name), pieces) == whole
    assert outcomes_of(build(name), [bytes([byte]) for byte in data]) == whole


@pytest.mark.parametrize("name", STREAMS)
@given(before=BYTES)
@settings(max_examples=100, deadline=None)
def test_stream_recovers_at_the_next_line_whatever_came_before(name: str, before: bytes) -> None:
    line = example_bytes(name)
    alone = outcomes_of(build(name), [line])
    decoder = build(name)
    after = outcomes_of(decoder, [before + b"\n", line])
    assert after[-len(alone) :] == alone
