"""Alerts are told in the reader's units and language, from the facts at the crossing."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.formats.journal_json import dump_body, load_body
from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.journal import AlertChanged
from pitlogger.model.quantities import milli_c_from_fahrenheit as f
from pitlogger.rules.conditions import ABOVE, BELOW, Limit
from pitlogger.rules.messages import LIMIT_TEXTS, Units, limit_message
from pitlogger.rules.policies import AlertRule
from pitlogger.views.alert_words import alert_words
from pitlogger.views.language import speaking
from pitlogger.views.template import accented

FAHRENHEIT, CELSIUS = Units("F"), Units("C", "kg")
KINDS = [
    ("wrap-due", ABOVE, False), ("pull-due", ABOVE, False), ("tender-check-due", ABOVE, False),
    ("hot-hold-near", BELOW, False), ("hot-hold-near", BELOW, True), ("hot-hold-low", BELOW, False),
    ("flare-up", ABOVE, False), ("pit-low", BELOW, False), ("pit-high", ABOVE, False),
    ("cold-hold-high", ABOVE, False), ("battery-low", BELOW, False),
]  # fmt: skip


def test_each_kind_that_has_a_text_of_its_own_is_held_to_it() -> None:
    assert {kind for kind, _, _ in KINDS} >= set(LIMIT_TEXTS)


def raised(
    kind: str, side: int, foreseen: bool, node: Units, note: str = "", **other: object
) -> AlertChanged:
    rule = AlertRule(kind, Priority.HIGH, True, "", "", "", "", on_delay_ms=60_000)
    limit = Limit(f"{kind}/a", rule, f(203.0), side, piece="a")
    message = limit_message(limit, f(198.4), node, foreseen=foreseen) + note
    given = {"value": f(198.4), "limit": limit.limit, "message": message, "piece": "a", **other}
    return AlertChanged(
        limit.key, kind, AlertState.NORMAL, AlertState.UNACKNOWLEDGED, Priority.HIGH,
        **given,  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.mark.parametrize(("kind", "side", "foreseen"), KINDS)
@pytest.mark.parametrize("node", [FAHRENHEIT, CELSIUS])
@pytest.mark.parametrize("note", ["", "; two need about 4 h more"])
def test_a_reader_in_the_nodes_units_reads_what_the_journal_keeps(
    kind: str, side: int, foreseen: bool, node: Units, note: str
) -> None:
    body = raised(kind, side, foreseen, node, note)
    assert alert_words(body, node) == body.message


@pytest.mark.parametrize(("kind", "side", "foreseen"), KINDS)
def test_another_reader_reads_the_same_in_other_units(kind: str, side: int, foreseen: bool) -> None:
    told = alert_words(raised(kind, side, foreseen, FAHRENHEIT), CELSIUS)
    assert told == raised(kind, side, foreseen, CELSIUS).message


def test_another_language_reads_the_facts_and_the_note_as_written(tmp_path: Path) -> None:
    body = raised("pit-low", BELOW, False, FAHRENHEIT, "; fuel is low")
    with speaking("en-XA"):
        told = alert_words(body, FAHRENHEIT)
    text = accented("{subject} at {value}, under {limit}")
    assert told == text.format(subject="a", value="198 F", limit="203 F") + "; fuel is low"


@pytest.mark.parametrize(
    "message",
    [
        "a at 199.5 F, under 203 F",
        "a: rested for 40 min",
        "a at 198 F, under 203 F. And more",
        "x*([",
    ],
)
def test_a_sentence_the_facts_do_not_give_is_shown_as_written(message: str) -> None:
    assert (
        alert_words(raised("pit-low", BELOW, False, CELSIUS, message=message), CELSIUS) == message
    )


def test_an_entry_of_before_limits_were_kept_is_shown_in_the_readers_unit() -> None:
    kept = dump_body(raised("pit-low", BELOW, False, FAHRENHEIT))
    del kept["limit"]
    body = load_body(kept)
    assert isinstance(body, AlertChanged)
    assert alert_words(body, FAHRENHEIT) == "a at 198 F, under 203 F"
    assert alert_words(body, CELSIUS) == "a at 92.2 C, under 95.0 C"


def test_without_a_sentence_the_alert_is_named() -> None:
    assert alert_words(raised("pit-low", BELOW, False, CELSIUS, message=""), CELSIUS) == (
        "pit too cold, a"
    )
