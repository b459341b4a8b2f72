"""Text from the air, from files and from the network is refused or harmless, never a crash."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from pitlogger.cli.output import emit, printable
from pitlogger.config import parse_config
from pitlogger.errors import PitloggerError, UsageError
from pitlogger.formats.capture import parse_capture
from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.paper_log import guarded, read_paper_log, unguarded

CAPTURES = {
    "nested arrays": b"[" * 100_000 + b"]" * 100_000,
    "nested objects": b'[{"n":"x","v":' + b'{"a":' * 100_000 + b"1" + b"}" * 100_000 + b"}]",
    "nested journal entry": b'[{"n":"journal","t":1,"vs":"' + b"[" * 50_000 + b'"}]',
    "a number of thousands of digits": b'[{"n":"x","u":"Cel","t":1,"v":' + b"9" * 5000 + b"}]",
    "not a number": b'[{"n":"x","u":"Cel","t":1,"v":NaN}]',
    "infinite": b'[{"n":"x","u":"Cel","t":1,"v":1e999}]',
    "a time beyond our era": b'[{"n":"x","u":"Cel","t":1e30,"v":1}]',
    "a time before all eras": b'[{"n":"x","u":"Cel","t":-1e30,"v":1}]',
    "a name that clears the screen": b'[{"n":"x\\u001b[2J","u":"Cel","t":1,"v":1}]',
    "half a character": b'[{"n":"x\\ud800","u":"Cel","t":1,"v":1}]',
    "words that ring the bell": b'[{"n":"x/stage","vs":"wrapped\\u0007","t":1}]',
    "zeros": b"\x00" * 100,
    "another encoding": "[{}]".encode("utf-16"),
}


@pytest.mark.parametrize("name", CAPTURES)
def test_a_hostile_capture_is_refused_with_its_line(name: str) -> None:
    with pytest.raises(UsageError, match=r"x:1|x: a time"):
        parse_capture([CAPTURES[name]], "x")


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200))
def test_bytes_are_a_capture_or_an_error_of_ours(data: bytes) -> None:
    try:
        parse_capture([data])
    except PitloggerError:
        return


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["n", "bn", "u", "v", "vs", "vb", "t", "bt", "s"]), inner)
    ),
    max_leaves=12,
)


@settings(max_examples=300, deadline=None)
@given(st.lists(_JSON, max_size=3))
def test_any_json_is_a_capture_or_an_error_of_ours(pack: list[object]) -> None:
    try:
        parse_capture([json.dumps(pack).encode()])
    except PitloggerError:
        return


TOMLS = {
    "nested arrays": "a = " + "[" * 20_000 + "]" * 20_000,
    "a path of thousands of keys": "[" + ".".join(["a"] * 20_000) + "]\n",
    "a number of thousands of digits": "a = " + "9" * 5000,
    "a name that clears the screen": '[node]\nname = "\\u001b[2J"\n[cook]\nname = 1\n',
    "zeros": "\x00" * 100,
}


@pytest.mark.parametrize("read", [parse_config, parse_cook])
@pytest.mark.parametrize("name", TOMLS)
def test_a_hostile_file_is_refused(read: Callable[[str], object], name: str) -> None:
    with pytest.raises(UsageError):
        read(TOMLS[name])


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=120))
def test_any_text_is_a_configuration_or_an_error_of_ours(text: str) -> None:
    for read in (parse_config, parse_cook):
        try:
            read(text)
        except PitloggerError:
            continue


CELLS = [
    '=cmd|"/c calc"!A1',
    "+1+1",
    "@SUM(A1)",
    "-2+3",
    "\x1b[31mred",
    "<script>",
    "'; DROP TABLE",
]


@pytest.mark.parametrize("cell", CELLS)
def test_a_hostile_cell_is_text_or_refused_and_nothing_else(cell: str, tmp_path: Path) -> None:
    import csv

    file = tmp_path / "log.csv"
    with file.open("w", newline="", encoding="utf-8") as out:
        rows = csv.writer(out)
        rows.writerow(["date", "cook", "piece", "cut", "purchased", "carved", "notes"])
        rows.writerow(["2026-01-01", cell, cell, "brisket-flat", "6.1 kg", "3.1 kg", cell])
        rows.writerow(["2026-01-01", "x", "y", "brisket-flat", cell, "3.1 kg", "z"])
    log = read_paper_log(file)
    assert [fault.line for fault in log.faults] == [3]
    assert [row.cook for row in log.rows] == [cell]


@pytest.mark.parametrize("cell", [*CELLS, "plain", "'quoted", ""])
def test_a_written_cell_is_no_formula_and_reads_back_the_same(cell: str) -> None:
    assert not guarded(cell).startswith(("=", "+", "-", "@"))
    assert unguarded(guarded(cell)) == cell


def test_what_would_steer_a_terminal_is_not_printed() -> None:
    told = printable("scale \x1b]0;title\x07\x9b2J é ü 测\n\tend")
    assert told == "scale \ufffd]0;title\ufffd\ufffd2J é ü 测\n\tend"


def test_commands_print_through_it(capsys: pytest.CaptureFixture[str]) -> None:
    emit({}, False, "name \x1b[2J")
    assert "\x1b" not in capsys.readouterr().out


def test_a_file_that_is_hostile_ends_a_command_with_two_and_a_sentence(tmp_path: Path) -> None:
    from pitlogger.cli.records.replay import replay

    file = tmp_path / "deep.senml"
    file.write_bytes(CAPTURES["nested arrays"])
    result = CliRunner().invoke(replay, [str(file)])
    assert isinstance(result.exception, UsageError)
    assert "nested too deeply" in str(result.exception)
