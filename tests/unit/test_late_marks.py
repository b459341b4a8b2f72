"""Stages lie in the order they happened, whenever they were entered."""

from __future__ import annotations

from pitlogger.model.book import Book
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookStarted, Entry, StageSet

MIN = 60_000


def book(*marks: StageSet, started_ms: int = 0) -> Book:
    bodies: list[Body] = [CookStarted(Cook("supper", (Piece("b"),))), *marks]
    return fold(Entry("r", seq, started_ms + seq, body) for seq, body in enumerate(bodies, 1))


def test_wrapped_ten_minutes_ago_before_smoking_was_typed_is_wrapped() -> None:
    held = book(
        StageSet("b", Stage.SMOKING, 60 * MIN),
        StageSet("b", Stage.WRAPPED, 50 * MIN, "paper", "stated"),
    ).pieces["b"]
    assert held.stage is Stage.WRAPPED
    assert [(mark.stage, mark.timed) for mark in held.marks] == [
        (Stage.SMOKING, "unrecorded"),
        (Stage.WRAPPED, "stated"),
    ]


def test_a_mark_stated_between_others_changes_neither() -> None:
    held = book(
        StageSet("b", Stage.SMOKING, 10 * MIN),
        StageSet("b", Stage.RESTING, 600 * MIN),
        StageSet("b", Stage.WRAPPED, 300 * MIN, "foil", "stated"),
    ).pieces["b"]
    assert [(mark.stage, mark.at_ms) for mark in held.marks] == [
        (Stage.SMOKING, 10 * MIN),
        (Stage.WRAPPED, 300 * MIN),
        (Stage.RESTING, 600 * MIN),
    ]


def test_what_was_unwrapped_stays_so() -> None:
    held = book(
        StageSet("b", Stage.WRAPPED, 100 * MIN, "foil"),
        StageSet("b", Stage.SMOKING, 200 * MIN),
        StageSet("b", Stage.WRAPPED, 90 * MIN, "foil", "stated"),
    ).pieces["b"]
    assert held.stage is Stage.SMOKING
