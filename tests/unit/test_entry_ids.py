"""Short ids: one entry, one name, for ever."""

from __future__ import annotations

import re

import pytest

from pitlogger.model.entry_ids import new_run, parse_short_id, short_id, tag_of


def test_an_id_is_the_tag_of_the_run_and_the_sequence() -> None:
    assert short_id("k7qm-3v9xw2pd", 42) == "k7qm-42"
    assert parse_short_id(" K7QM-42 ") == ("k7qm", 42)


@pytest.mark.parametrize("run", ["5f0a3c9d21be", "paper-0a1b2c3d4e5f", "capture-0a1b2c3d4e5f"])
def test_a_run_of_another_form_has_a_longer_tag_that_no_run_of_a_node_can_have(run: str) -> None:
    assert re.fullmatch("[2-9a-z]{6}", tag_of(run))
    assert tag_of(run) == tag_of(run)
    assert parse_short_id(short_id(run, 7)) == (tag_of(run), 7)


def test_tags_of_many_imports_differ() -> None:
    runs = {f"paper-{number:012x}" for number in range(5000)}
    assert len({tag_of(run) for run in runs}) == len(runs)


def test_a_new_run_has_a_tag_that_was_never_given() -> None:
    taken: set[str] = set()
    for _ in range(2000):
        run = new_run(taken)
        assert run[:4] not in taken
        assert tag_of(run) == run[:4]
        taken.add(run[:4])


@pytest.mark.parametrize(
    "text",
    [
        "42",
        "k7qm",
        "k7qm-",
        "k7qm/42",
        "k7 qm-42",
        "-42",
        "",
        "brisket-1",
        "neck-1",
        "butt-2",
        "k7qm2-1",
    ],
)
def test_other_text_is_no_id(text: str) -> None:
    assert parse_short_id(text) is None
