"""Finding a layout from bytes beside a reference: synthetic devices with distractors."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import reduce
from operator import xor
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.declaring import frames as framed
from pitlogger.devices.declaring import lines
from pitlogger.devices.declaring.moments import Moment
from pitlogger.devices.declaring.written import Described, declaration, usual_interval_s
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.devices.framing import StreamDecoder
from pitlogger.errors import RefusedError
from pitlogger.formats.toml_text import toml_value
from pitlogger.model.quantities import Quantity

GATT = {"kind": "gatt", "characteristic": "0000fff1-0000-1000-8000-00805f9b34fb"}
SERIAL = {"kind": "serial", "baud": 9600}
PATIENT = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
PACK = {
    "i16": "<h", "u16": "<H", "i32": "<i", "u32": "<I", "u8": "<B", "f32": "<f",
}  # fmt: skip


def pack(kind: str, order: str, raw: float) -> bytes:
    """Write a raw number as a device does."""
    if kind == "bcd16":
        digits = bytes.fromhex(f"{int(raw):04d}")
        return digits if order == "big" else digits[::-1]
    form = PACK[kind].replace("<", "<" if order == "little" else ">")
    return struct.pack(form, raw if kind == "f32" else int(raw))


class Thermometer:
    """A device with a value, another value, a counter, a still byte, noise and a checksum."""

    def __init__(self, seed: int, kind: str, order: str, scale: str, fahrenheit: bool) -> None:
        self.chance = random.Random(seed)
        self.kind, self.order, self.scale, self.fahrenheit = kind, order, scale, fahrenheit
        parts: list[Callable[[float], bytes]] = [
            lambda c: pack(kind, order, self.raw(c)),
            lambda _: bytes((self.count % 256,)),
            lambda _: b"\x17",
            lambda _: struct.pack("<H", self.chance.randrange(1 << 16)),
        ]
        self.chance.shuffle(parts)
        self.parts = parts
        self.count = self.chance.randrange(256)

    def raw(self, value_c: float) -> float:
        """Return the raw number of a temperature."""
        value = value_c * 1.8 + 32 if self.fahrenheit else value_c
        raw = Decimal(str(value)) / Decimal(self.scale)
        return float(raw) if self.kind == "f32" else float(round(raw))

    def frame(self, value_c: float) -> bytes:
        """Return the next frame."""
        self.count += 1
        body = b"\xa5" + b"".join(part(value_c) for part in self.parts)
        return body + bytes((reduce(xor, body),))

    def moment(self, value_c: float, count: int = 4) -> Moment:
        """Return what is sent while the reference shows a temperature."""
        chunks = tuple(Chunk("fff1", self.frame(value_c)) for _ in range(count))
        return Moment(value_c + self.chance.uniform(-0.8, 0.8), chunks)


REFERENCES_C = (3.0, 96.5, 21.0, 63.0, 41.0, 11.5)


def decode(text: str, frame: bytes, source: str = "") -> list[Any]:
    """Decode with the driver that a person would use afterwards."""
    decoder = load("declared").build(DecodeOptions(declaration=text))
    outcomes = list(decoder.feed(Chunk(source, frame)))
    assert all(isinstance(outcome, Measurement) for outcome in outcomes), outcomes
    return outcomes


def written(proposal: Any, quantity: Quantity, source: dict[str, Any]) -> str:
    """Return the file of a proposal."""
    assert proposal is not None
    return declaration(proposal, quantity, Described("device", "probe", source, 0.8))


def base(found: Measurement) -> float:
    """Return a temperature in degC or a mass in grams."""
    assert found.value is not None
    factor = {"g": 1.0, "kg": 1000.0, "lb": 453.59237, "oz": 28.349523125, "Cel": 1.0}
    if found.unit == "degF":
        return (found.value - 32) / 1.8
    return found.value * factor[found.unit]


LAYOUTS = st.sampled_from([
    ("i16", "little", "0.1"), ("i16", "big", "0.1"), ("i16", "little", "0.01"),
    ("u16", "big", "0.0625"), ("i32", "little", "0.001"), ("f32", "little", "1"),
    ("f32", "big", "1"), ("u8", "little", "1"), ("bcd16", "big", "0.1"), ("i16", "big", "0.05"),
])  # fmt: skip


@PATIENT
@given(seed=st.integers(0, 2**32), layout=LAYOUTS, fahrenheit=st.booleans())
def test_a_temperature_is_found_among_counter_noise_and_checksum(
    seed: int, layout: tuple[str, str, str], fahrenheit: bool
) -> None:
    device = Thermometer(seed, *layout, fahrenheit)
    moments = [device.moment(value_c) for value_c in REFERENCES_C]
    proposal = framed.propose(moments, Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, GATT)
    for value_c in (5.0, 33.0, 80.0, 95.0):  # values it never saw
        (found,) = decode(text, device.frame(value_c))
        assert abs(base(found) - value_c) < 1.6, text


@PATIENT
@given(
    seed=st.integers(0, 2**32),
    scale_g=st.sampled_from([1.0, 5.0, 0.1, 10.0, 453.59237 * 0.01]),
    order=st.sampled_from(["little", "big"]),
)
def test_a_mass_is_found_in_whatever_step(seed: int, scale_g: float, order: str) -> None:
    chance = random.Random(seed)
    kind = "u32" if scale_g < 1 else "u16"

    def frame(mass_g: float) -> bytes:
        head = bytes((0x02, chance.randrange(256)))
        return head + pack(kind, order, round(mass_g / scale_g)) + bytes((chance.randrange(4),))

    moments = [
        Moment(mass_g, tuple(Chunk("", frame(mass_g)) for _ in range(3)))
        for mass_g in (0.0, 500.0, 6120.0, 2000.0, 12000.0)
    ]
    text = written(framed.propose(moments, Quantity.MASS, 10.0), Quantity.MASS, GATT)
    (found,) = decode(text, frame(7350.0))
    assert abs(base(found) - 7350.0) < 12.0, text


def still(*values: tuple[float | None, str], source: str = "fff1") -> list[Moment]:
    """Return moments with one frame each."""
    return [Moment(ref, (Chunk(source, bytes.fromhex(frame)),)) for ref, frame in values]


BATH = [(0.0, "a50000"), (50.0, "a5f401"), (100.0, "a5e803"), (25.0, "a5fa00")]


def test_the_bytes_of_a_pulled_probe_become_no_value() -> None:
    proposal = framed.propose(still(*BATH, (None, "a5ff7f")), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, GATT)
    assert decode(text, bytes.fromhex("a5ff7f"))[0].value is None
    assert decode(text, bytes.fromhex("a53204"))[0].value == 107.4


def test_a_sign_that_was_never_seen_is_a_doubt() -> None:
    proposal = framed.propose(still(*BATH), Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert any("u16 little at byte 1 would read the same" in d for d in proposal.doubts)


def test_a_second_place_that_fits_is_a_doubt() -> None:
    twice = [(ref, frame + frame[2:]) for ref, frame in BATH]
    proposal = framed.propose(still(*twice), Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert (proposal.match.layout.at, proposal.match.layout.type) == (1, "i16")
    assert any("byte 3 fits too" in doubt for doubt in proposal.doubts)


def test_a_scale_of_ones_own_is_a_straight_line_and_a_doubt() -> None:
    def raw(value_c: float) -> str:
        return round(value_c * 37.3 + 411).to_bytes(2, "little").hex()

    frames = [(value_c, f"a5{raw(value_c)}") for value_c in (0.0, 100.0, 22.0, 64.0, 41.0)]
    proposal = framed.propose(still(*frames), Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert "straight line" in proposal.doubts[0]
    text = written(proposal, Quantity.TEMPERATURE, GATT)
    (found,) = decode(text, bytes.fromhex(f"a5{raw(80.0)}"))
    assert found.value == pytest.approx(80.0, abs=0.1)


def test_frames_of_two_kinds_are_told_apart_by_their_first_byte() -> None:
    moments = [
        Moment(ref, (Chunk("fff1", bytes.fromhex(frame)), Chunk("fff1", b"\x01\x22\x33")))
        for ref, frame in BATH
    ]
    proposal = framed.propose(moments, Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert proposal.match.kind.prefix == b"\xa5"


def test_longer_frames_that_would_be_misread_are_a_doubt() -> None:
    longer = Chunk("fff1", b"\xa5\1\2\3\4")
    moments = [Moment(m.reference, (*m.chunks, longer)) for m in still(*BATH)]
    proposal = framed.propose(moments, Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert any("frames of 5 bytes" in doubt for doubt in proposal.doubts)


def test_bytes_that_follow_nothing_give_no_proposal() -> None:
    chance = random.Random(1)
    moments = [
        Moment(ref, tuple(Chunk("fff1", chance.randbytes(3)) for _ in range(3)))
        for ref in REFERENCES_C
    ]
    assert framed.propose(moments, Quantity.TEMPERATURE, 1.0) is None


@pytest.mark.parametrize(
    ("references", "message"),
    [((0.0, 90.0), "at least 3 are needed"), ((20.0, 21.0, 22.0), "differ by 2 Cel only")],
)
def test_moments_that_tell_nothing_are_refused(references: Sequence[float], message: str) -> None:
    moments = still(*((ref, "a50000") for ref in references))
    with pytest.raises(RefusedError, match=message):
        framed.propose(moments, Quantity.TEMPERATURE, 1.5)


def test_bytes_are_still_count_or_move() -> None:
    frames = [bytes((0xA5, count, value)) for count, value in ((254, 7), (255, 90), (0, 31))]
    assert framed.ways_of_bytes(frames) == ["still", "counts", "moves"]


# Lines


def spoken(form: str, values: Sequence[tuple[float | None, str]]) -> list[Moment]:
    """Return moments with two lines each; ``%`` is the value, ``#`` a count, ``*`` noise."""
    chance, count = random.Random(3), 0
    moments = []
    for reference, shown in values:
        chunks = []
        for _ in range(2):
            count += 1
            text = form.replace("%", shown).replace("#", str(count))
            chunks.append(Chunk("", text.replace("*", str(chance.randrange(99))).encode()))
        moments.append(Moment(reference, tuple(chunks)))
    return moments


HEAT = [(1.0, "1.2"), (95.0, "94.6"), (20.0, "20.1"), (60.0, "60.3")]


@pytest.mark.parametrize(
    ("form", "shown"),
    [
        ("%", "107.4"),
        ("#,*,%,17", "107.4"),
        ("T1=%C T2=*C n=#", "107.4"),
        ("#;%;65,2", "107,4"),
        ("$#\t%\t*", "107.4"),
        ('{"n":#,"core_c":%,"pit":*}', "107.4"),
        ("PIT,ok,+  %C,*", "107.4"),
    ],
)
def test_the_field_of_a_line_is_found(form: str, shown: str) -> None:
    heat = [(c, s.replace(".", ",") if "," in shown else s) for c, s in HEAT]
    proposal = lines.propose(spoken(form, heat), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    line = form.replace("%", shown).replace("#", "7").replace("*", "3")
    found = [one for one in decode(text, line.encode() + b"\n") if one.channel == "probe"]
    assert [one.value for one in found] == [107.4]


def test_tenths_without_a_point_are_scaled() -> None:
    tenths = [(c, s.replace(".", "")) for c, s in HEAT]
    proposal = lines.propose(spoken("#,%", tenths), Quantity.TEMPERATURE, 1.5)
    assert proposal is not None
    assert proposal.scale.scale == Decimal("0.1")


def test_a_scale_that_shows_pounds_is_declared_in_pounds() -> None:
    masses = [(0.0, "0.00"), (4535.9, "10.00"), (1000.0, "2.20"), (6000.0, "13.23")]
    proposal = lines.propose(spoken("ST,GS,  %lb", masses), Quantity.MASS, 10.0)
    assert proposal is not None
    assert proposal.scale.unit == "lb"


def test_a_line_whose_number_is_missing_gives_no_value_and_no_error() -> None:
    proposal = lines.propose(spoken("#,%", HEAT), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    assert decode(text, b"7,nan\n") == []


def test_a_number_shown_while_the_probe_is_pulled_is_no_value() -> None:
    proposal = lines.propose(spoken("#,%", [*HEAT, (None, "999.9")]), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    assert decode(text, b"7,999.9\n")[0].value is None


def test_a_line_that_lost_its_number_while_the_probe_was_pulled_is_no_value() -> None:
    proposal = lines.propose(spoken("#,%", [*HEAT, (None, "---")]), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    assert decode(text, b"7,---\n")[0].value is None
    assert decode(text, b"8,65.2\n")[0].value == 65.2


def test_a_further_value_is_added_by_naming_its_group() -> None:
    proposal = lines.propose(spoken("%,65.2", HEAT), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    text += '[[value]]\nchannel = "pit"\ngroup = "f2"\nunit = "Cel"\n'
    assert [one.value for one in decode(text, b"20.0,110.5\n")] == [20.0, 110.5]


def test_noise_on_the_line_gives_no_proposal() -> None:
    moments = [Moment(ref, (Chunk("", b"\xff\x80\xc3"),)) for ref in REFERENCES_C]
    assert lines.propose(moments, Quantity.TEMPERATURE, 1.5) is None


# The file


@given(st.text(), st.integers(), st.booleans())
def test_what_is_written_as_toml_is_read_back(text: str, number: int, switch: bool) -> None:
    import tomllib

    value = [text, number, switch, Decimal("0.0625")]
    if any(0xD800 <= ord(char) < 0xE000 for char in text):
        return
    document = tomllib.loads(f"key = {toml_value(value)}", parse_float=Decimal)
    assert document == {"key": value} or abs(number) >= 2**63


def test_the_interval_leaves_room_for_the_longest_pause() -> None:
    assert [usual_interval_s(gap_s) for gap_s in (0.1, 1.0, 4.0, 5000.0)] == [1, 2, 10, 7500]


def test_a_stream_of_lines_is_decoded_as_declared() -> None:
    proposal = lines.propose(spoken("#,%", HEAT), Quantity.TEMPERATURE, 1.5)
    text = written(proposal, Quantity.TEMPERATURE, SERIAL)
    decoder = load("declared").build(DecodeOptions(declaration=text))
    assert isinstance(decoder, StreamDecoder)
