"""SenML against the examples of RFC 8428 section 5, and what our captures add."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import CaptureError
from pitlogger.formats.capture import Decision, parse_capture, read_capture, resolve
from pitlogger.model.journal import PieceSplit, SpotRead, StageSet, Weighed
from pitlogger.model.readings import Quality, Reading

# RFC 8428 section 5.1.2, and its resolved form in 5.1.4's manner.
MULTIPLE_DATAPOINTS = """[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
  "n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3}, {"n":"current","v":1.7}]"""
# RFC 8428 section 5.1.5.
MULTIPLE_TYPES = """[
 {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
 {"n":"label","vs":"Machine Room"}, {"n":"open","vb":false}, {"n":"nfc-reader","vd":"aGkgCg"}]"""
# RFC 8428 section 5.1.6.
COLLECTION = """[
 {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":27.2},
 {"n":"humidity","u":"%RH","v":80}]"""


def test_base_name_time_and_unit_resolve_as_in_the_rfc() -> None:
    resolved = list(resolve(json.loads(MULTIPLE_DATAPOINTS)))
    assert [row.name for row in resolved] == [
        "urn:dev:ow:10e2073a0108006:voltage",
        *["urn:dev:ow:10e2073a0108006:current"] * 3,
    ]
    assert [row.unit for row in resolved] == ["V", "A", "A", "A"]
    assert [row.value for row in resolved] == [120.1, 1.2, 1.3, 1.7]
    assert [row.time_s for row in resolved] == pytest.approx(
        [1276020076.001, 1276020071.001, 1276020072.001, 1276020076.001]
    )


def test_every_type_of_value_resolves_as_in_the_rfc() -> None:
    values = [row.value for row in resolve(json.loads(MULTIPLE_TYPES))]
    assert values == [23.1, "Machine Room", False, "aGkgCg"]


def test_a_collection_of_the_rfc_becomes_readings() -> None:
    line = COLLECTION.replace("\n", "").encode()
    assert parse_capture([line]) == [
        Reading("2001:db8::2/temperature", 1_320_078_429_000, 27_200),
        Reading("2001:db8::2/humidity", 1_320_078_429_000, 80_000),
    ]


def test_base_value_is_added() -> None:
    pack = [{"bn": "c", "bu": "Cel", "bv": 20, "v": 1.5}, {"v": -0.5}]
    assert [row.value for row in resolve(pack)] == [21.5, 19.5]


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ('[{"n":"c","u":"Cel","v":60,"t":1', "not a SenML pack"),
        ('{"a":1}', "has no name"),
        ('"text"', "JSON array"),
        ('[{"n":"c","u":"Cel","v":NaN,"t":1}]', "NaN"),
        ('[{"n":"c","u":"Cel","v":1e999,"t":1}]', "finite|infinity"),
        ('[{"n":"c","u":"Cel","v":true,"t":1}]', "finite number"),
        ('[{"n":"c","v":60,"t":1}]', "has no unit"),
        ('[{"n":"c","u":"degF","v":60,"t":1}]', "unknown unit 'degF'"),
        ('[{"n":"c","u":"Cel","v":60,"must_":1}]', "must be understood"),
        ('[{"bver":11,"n":"c","u":"Cel","v":60}]', "version 11"),
        ('[{"n":"c","vs":"!opn","t":1}]', "!open"),
        ('[{"n":"c","vs":"warm","t":1}]', "text value"),
        ('[{"n":"b/stage","vs":"rapped","t":1}]', "did you mean 'wrapped'"),
        ('[{"n":"b/stage","v":1,"u":"kg","t":1}]', "text in 'vs'"),
        ('[{"n":"b/checkpoint/at-warp","u":"kg","v":1,"t":1}]', "did you mean 'at-wrap'"),
        ('[{"n":"b/checkpoint/at-wrap","u":"Cel","v":1,"t":1}]', "mass"),
        ('[{"n":"b/checkpoint/at-wrap","u":"kg","v":-1,"t":1}]', "zero or more"),
        ('[{"n":"journal","vs":"{\\"kind\\":\\"stage-st\\"}","t":1}]', "did you mean 'stage-set'"),
        ("\xff\xfe", "not a SenML pack"),
    ],
)
def test_a_line_that_cannot_be_read_names_its_place(line: str, hint: str) -> None:
    good = b'[{"n":"c","u":"Cel","v":60,"t":1}]'
    with pytest.raises(CaptureError, match=rf"cook\.senml:2: .*({hint})"):
        parse_capture([good, line.encode("latin-1")], "cook.senml")


def test_decisions_travel_in_the_same_file() -> None:
    lines = [
        b'[{"n":"b/stage","vs":"sliced","t":10}]',
        b'[{"n":"b/checkpoint/at-wrap","u":"kg","v":3.912,"t":11}]',
        b'[{"n":"b/spot","u":"Cel","v":95,"t":12}]',
        b'[{"n":"b/split","vs":"b-point,b-flat","t":13}]',
    ]
    bodies = [record.body for record in parse_capture(lines) if isinstance(record, Decision)]
    assert [type(body) for body in bodies] == [StageSet, Weighed, SpotRead, PieceSplit]
    stage, weighed, spot, split = bodies
    assert isinstance(stage, StageSet)
    assert stage.stage == "carved"
    assert isinstance(weighed, Weighed)
    assert weighed.net_mg == 3_912_000
    assert isinstance(spot, SpotRead)
    assert spot.value_mc == 95_000
    assert isinstance(split, PieceSplit)
    assert [child.id for child in split.children] == ["b-point", "b-flat"]


def test_a_reading_without_a_value_carries_its_quality() -> None:
    assert parse_capture([b'[{"n":"c","vs":"!open","t":1}]']) == [
        Reading("c", 1000, None, Quality.OPEN)
    ]


def test_records_come_in_order_of_time_and_keep_the_order_of_equals() -> None:
    lines = [
        b'[{"n":"late","u":"Cel","v":2,"t":20},{"n":"early","u":"Cel","v":1,"t":10}]',
        b'[{"n":"b/stage","vs":"smoking","t":10}]',
    ]
    records = parse_capture(lines)
    assert [record.t_ms for record in records] == [10_000, 10_000, 20_000]
    assert isinstance(records[1], Decision)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="cannot be read"):
        read_capture(tmp_path / "none.senml")


def refusal(line: bytes) -> str:
    """Return why a line was refused, empty if it was not; any other error goes through."""
    try:
        parse_capture([line])
    except CaptureError as fault:
        return str(fault)
    return ""


@given(st.binary(max_size=200))
def test_any_bytes_are_records_or_a_capture_error(line: bytes) -> None:
    told = refusal(line)
    assert told == "" or told.startswith("capture:1:")


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["n", "u", "v", "vs", "vb", "t", "s", "bn", "bt", "bv", "bver", "x_"]),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@given(JSON)
def test_any_json_is_records_or_a_capture_error(document: object) -> None:
    told = refusal(json.dumps(document).encode())
    assert told == "" or told.startswith("capture:1:")
