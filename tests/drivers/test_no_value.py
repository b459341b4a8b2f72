"""What stands for "no value" in text and floats: a state of its channel, no refusal, no silence."""

from __future__ import annotations

import struct

import pytest

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, load
from pitlogger.model.readings import Quality
from pitlogger_drivers.text import no_value

NOTHING = ["NaN", "nan", "-nan", "+NAN", "nan(ind)", "----", "---.-", "--.--", "-- --", "- - -",
           "N/A", "null"]  # fmt: skip
BEYOND = ["inf", "-inf", "+Inf", "Infinity", "OVF"]
NONE_AT_ALL = ["", "1", "-1", "-", "-.5", "nano", "info", "1-1", "--1", "Err", "-5-"]


@pytest.mark.parametrize("text", NOTHING)
def test_words_for_nothing(text: str) -> None:
    assert no_value(text) is Quality.NO_VALUE


@pytest.mark.parametrize("text", BEYOND)
def test_words_for_more_than_can_be_shown(text: str) -> None:
    assert no_value(text) is Quality.OVERLOAD


@pytest.mark.parametrize("text", NONE_AT_ALL)
def test_what_is_a_number_or_another_word_is_none_of_them(text: str) -> None:
    assert no_value(text) is None


def found(name: str, text: str, **options: str) -> list[tuple[str, float | None, Quality]]:
    """Return what a decoder makes of a line; a refusal fails the test."""
    decoder = load(name).build(DecodeOptions(**options))  # type: ignore[arg-type]
    outcomes = list(decoder.feed(Chunk("", text.encode())))
    assert all(isinstance(one, Measurement) for one in outcomes), outcomes
    return [(m.channel, m.value, m.quality) for m in outcomes if isinstance(m, Measurement)]


@pytest.mark.parametrize("word", [*NOTHING, *BEYOND])
@pytest.mark.parametrize(
    "form",
    ["{} kg", "{}", "  {}kg", "+ {} kg", "NET {} kg", "W: {} kg", "ST,GS,{} kg", "US,NT,+ {}kg",
     "ST,GS, {},kg"],
)  # fmt: skip
def test_a_scale_that_prints_no_number_has_no_value(form: str, word: str) -> None:
    ((channel, value, quality),) = found("serial-scale", form.format(word) + "\r\n")
    assert (channel, value) == ("mass", None)
    assert quality is no_value(word)


@pytest.mark.parametrize("word", [*NOTHING, *BEYOND])
def test_an_sma_scale_that_shows_no_number_has_no_value(word: str) -> None:
    ((channel, value, quality),) = found("sma-scale", f"\n 1G  {word:>10}kg \r")
    assert (channel, value, quality) == ("mass", None, no_value(word))


@pytest.mark.parametrize("word", [*NOTHING, *BEYOND])
def test_a_column_without_a_number_leaves_the_others_alone(word: str) -> None:
    line = found("csv-line", f"107.4,{word},65.2\n", map="pit:Cel,core:Cel,flat:Cel")
    assert line == [
        ("pit", 107.4, Quality.GOOD), ("core", None, no_value(word)), ("flat", 65.2, Quality.GOOD),
    ]  # fmt: skip


@pytest.mark.parametrize("word", [*NOTHING, *BEYOND])
def test_columns_that_hold_no_number_from_the_first_line_on_are_no_header(word: str) -> None:
    line = found("csv-line", f"{word},{word}\n107.4,65.2\n")
    assert [value for _, value, _ in line] == [None, None, 107.4, 65.2]


@pytest.mark.parametrize("word", ["nan", "-nan", "NaN", "inf", "-Infinity", '"----"', "null"])
def test_a_json_line_without_a_number_leaves_the_others_alone(word: str) -> None:
    line = found("csv-line", f'{{"pit_c":107.4,"core_c": {word} ,"t_c":[1.5,{word}]}}\n')
    assert [value for _, value, _ in line] == [107.4, None, 1.5, None]


@pytest.mark.parametrize("word", [*NOTHING, *BEYOND])
@pytest.mark.parametrize("others", [1, 3])
def test_an_instrument_that_answers_no_number_is_no_identity(word: str, others: int) -> None:
    answer = found("scpi", ",".join(["+1.07E+02"] * others + [word]) + "\n")
    assert [value for _, value, _ in answer] == [107.0] * others + [None]


@pytest.mark.parametrize("value", ["NaN", "Infinity", "null"])
def test_a_record_of_a_pack_without_a_number_leaves_the_others_alone(value: str) -> None:
    pack = f'[{{"n":"pit","u":"Cel","v":107.4}},{{"n":"core","u":"Cel","v":{value}}}]'
    assert found("senml", pack) == [
        ("pit", 107.4, Quality.GOOD), ("core", None, Quality.NO_VALUE),
    ]  # fmt: skip


LINE = """
name = "tray"
[source]
kind = "serial"
line = 'T=(?P<t>\\S+) C, W=(?P<w>.+) g'
[[value]]
channel = "core"
group = "t"
unit = "Cel"
[[value]]
channel = "mass"
group = "w"
unit = "g"
"""


@pytest.mark.parametrize("word", ["nan", "inf", "----", "--.-"])
def test_a_declared_line_without_a_number_leaves_the_others_alone(word: str) -> None:
    line = found("declared", f"T={word} C, W=4530 g\n", declaration=LINE)
    assert line == [("core", None, no_value(word)), ("mass", 4530.0, Quality.GOOD)]


def frame(kind: str) -> str:
    """Return the declaration of two numbers, one behind the other."""
    size = {"f32": 4, "bcd16": 2, "bcd32": 4}[kind]
    values = "".join(
        f'[[value]]\nchannel = "p{n}"\nat = {n * size}\ntype = "{kind}"\norder = "big"\n'
        'unit = "Cel"\n'
        for n in (0, 1)
    )
    uuid = "0000fff1-0000-1000-8000-00805f9b34fb"
    return f'name = "tray"\n[source]\nkind = "gatt"\ncharacteristic = "{uuid}"\n{values}'


@pytest.mark.parametrize(
    ("kind", "empty", "good"),
    [
        ("f32", struct.pack(">f", float("nan")), struct.pack(">f", 107.4)),
        ("f32", struct.pack(">f", float("inf")), struct.pack(">f", 107.4)),
        ("f32", struct.pack(">f", float("-inf")), struct.pack(">f", 107.4)),
        ("f32", bytes.fromhex("ffffffff"), struct.pack(">f", 107.4)),
        ("bcd16", bytes.fromhex("ffff"), bytes.fromhex("0107")),
        ("bcd16", bytes.fromhex("aaaa"), bytes.fromhex("0107")),
        ("bcd32", bytes.fromhex("ffffffff"), bytes.fromhex("00000107")),
    ],
)
def test_a_declared_frame_without_a_number_leaves_the_others_alone(
    kind: str, empty: bytes, good: bytes
) -> None:
    decoder = load("declared").build(DecodeOptions(declaration=frame(kind)))
    first, second = decoder.feed(Chunk("", empty + good))
    assert isinstance(first, Measurement)
    assert isinstance(second, Measurement)
    assert (first.value, first.quality) == (None, Quality.NO_VALUE)
    assert second.value == pytest.approx(107.4, abs=0.5)
