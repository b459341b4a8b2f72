"""Corrective action stands beside the row it answers (9 CFR 417.3(c), 417.5(a)(3))."""

from pitlogger.model.alerts import AlertState, Priority
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    AlertChanged,
    Body,
    CookStarted,
    CorrectiveTaken,
    Entry,
    SpotRead,
    StageSet,
)
from pitlogger.safety.record import LogRow, missing
from pitlogger.safety.sheets import sheets
from tests.safety.building import MIN, RETAIL

COOK = Cook("test", (Piece("a", "brisket-packer"), Piece("b", "brisket-packer")))
BEFORE: list[Body] = [
    CookStarted(COOK),
    SpotRead(9_000, MIN, "b"),  # raw, too warm
    StageSet("a", Stage.RESTING, 2 * MIN),
    StageSet("b", Stage.RESTING, 2 * MIN),
    SpotRead(50_000, 3 * MIN, "b"),  # hot, too cold
    SpotRead(51_000, 3 * MIN, "a"),
]


def taken(piece: str, disposition: str, alert: str | None = None) -> CorrectiveTaken:
    return CorrectiveTaken(piece, "lid open", "shut", "timer", disposition, alert)


def rows_with(*actions: Body) -> dict[int, LogRow]:
    """Return the rows by the number of their entry."""
    entries = [
        Entry("r", seq, seq * MIN, body, "AB")
        for seq, body in enumerate([*BEFORE, *actions], start=1)
    ]
    made = sheets(entries, fold(entries), [], RETAIL, 99 * MIN)
    return {row.id[1]: row for row in made if row.id is not None}


def test_without_any_a_limit_not_met_lacks_it() -> None:
    rows = rows_with()
    assert [row.met for row in rows.values()] == [False, False, False]
    assert all("corrective" in missing(row) for row in rows.values())


def test_one_that_names_an_alert_answers_the_rows_on_its_limit_alone() -> None:
    rows = rows_with(taken("b", "discarded", "hot-hold-low/b"))
    assert rows[2].corrective is None
    answer = rows[5].corrective
    assert answer is not None
    assert (answer.disposition, answer.id, answer.by) == ("discarded", ("r", 7), "AB")
    assert "corrective" not in missing(rows[5])
    assert rows[6].corrective is None, "another piece"


def test_one_that_names_none_answers_the_only_breach_of_its_piece() -> None:
    rows = rows_with(taken("a", "discarded"), taken("b", "reheated"))
    assert rows[6].corrective is not None
    assert rows[2].corrective is None, "of two breaches nobody can tell which"
    assert rows[5].corrective is None


def test_of_several_the_last_one_counts() -> None:
    rows = rows_with(taken("a", "held-for-review"), taken("a", "used"))
    answer = rows[6].corrective
    assert answer is not None
    assert answer.disposition == "used"


def test_one_made_after_the_cook_counts_too() -> None:
    entries = [Entry("r", seq, seq * MIN, body, "AB") for seq, body in enumerate(BEFORE, start=1)]
    after = Entry("r2", 1, 500 * MIN, taken("a", "discarded"), "CD")
    made = sheets(entries, fold(entries), [], RETAIL, 99 * MIN, [after])
    answer = next(row for row in made if row.piece == "a").corrective
    assert answer is not None
    assert answer.document()["id"] == ["r2", 1]


def test_a_limit_that_was_met_needs_no_answer() -> None:
    entries = [
        Entry("r", 1, MIN, CookStarted(COOK)),
        Entry("r", 2, 2 * MIN, SpotRead(3_000, MIN, "a"), "AB"),
        Entry("r", 3, 3 * MIN, taken("a", "discarded"), "AB"),
    ]
    (row,) = sheets(entries, fold(entries), [], RETAIL, 99 * MIN)
    assert row.met is True
    assert row.corrective is None


def test_one_answers_no_breach_that_began_after_it() -> None:
    """Under the limit, answered, hot again, and under it once more."""
    later = [SpotRead(66_000, 20 * MIN, "a"), SpotRead(48_000, 30 * MIN, "a")]
    rows = rows_with(taken("a", "held-for-review"), *later)
    assert rows[6].corrective is not None
    assert rows[9].met is False
    assert rows[9].corrective is None


def test_food_that_is_still_under_the_limit_asks_for_no_second_action() -> None:
    rows = rows_with(taken("a", "held-for-review"), SpotRead(49_000, 30 * MIN, "a"))
    assert rows[8].corrective is not None


def test_an_alarm_that_was_raised_anew_asks_for_its_own() -> None:
    def answered(raised_min: int) -> bool:
        said = [*BEFORE, taken("a", "held-for-review"), SpotRead(49_000, 60 * MIN, "a")]
        entries = [Entry("r", seq, seq * MIN, body, "AB") for seq, body in enumerate(said, start=1)]
        alarm = AlertChanged(
            "hot-hold-low/a", "hot-hold-low", AlertState.NORMAL, AlertState.UNACKNOWLEDGED,
            Priority.HIGH, piece="a",
        )  # fmt: skip
        entries.append(Entry("r", 99, raised_min * MIN, alarm))
        made = sheets(entries, fold(entries), [], RETAIL, 99 * MIN)
        return next(row for row in made if row.observed_ms == 60 * MIN).corrective is not None

    assert answered(8), "the delay of the breach that was answered still ran"
    assert not answered(40)
