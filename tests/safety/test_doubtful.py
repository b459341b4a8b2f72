"""What an instrument read before it failed its check stands in doubt."""

from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CheckMade, CookStarted, Entry, SpotRead, StageSet
from pitlogger.model.readings import Site
from pitlogger.safety.judge import judge
from pitlogger.safety.record import LogRow
from pitlogger.safety.recorded import histories
from pitlogger.safety.sheets import sheets
from tests.safety.building import MIN, RETAIL

COOK = Cook("test", (Piece("a", "brisket-packer"),), (Channel("a/core", Site.CORE, "a"),))


def check(instrument: str, within: bool) -> CheckMade:
    return CheckMade(instrument, "ice", 100 if within else 3_000, 1_111, within)


def rows(*bodies: Body) -> list[LogRow]:
    entries = [
        Entry("r", seq, seq * MIN, body, "AB")
        for seq, body in enumerate([CookStarted(COOK), *bodies], start=1)
    ]
    book = fold(entries)
    verdicts = [judge(held, RETAIL) for held in histories(book, [])]
    return sheets(entries, book, verdicts, RETAIL, 99 * MIN)


def notes(made: list[LogRow]) -> list[str]:
    return [row.note for row in made if row.id is not None and row.what == "hand reading"]


def test_only_what_it_read_since_its_last_good_check_is_in_doubt() -> None:
    spots = [SpotRead(65_000, at * MIN, "a", probe="pen") for at in (3, 5, 7)]
    made = rows(
        StageSet("a", Stage.RESTING, 2 * MIN), spots[0], check("pen", True), spots[1],
        check("pen", False), spots[2],
    )  # fmt: skip
    first, second, third = notes(made)
    assert first == ""
    assert second.startswith("in doubt: pen failed its check at ")
    assert "last good" in second
    assert third == "", "it was told of by then"


def test_without_any_good_check_all_of_it_is() -> None:
    spot = SpotRead(65_000, 3 * MIN, "a", probe="pen")
    (note,) = notes(rows(StageSet("a", Stage.RESTING, 2 * MIN), spot, check("pen", False)))
    assert note.endswith("no good check before")


def test_another_instrument_is_not_in_doubt() -> None:
    spot = SpotRead(65_000, 3 * MIN, "a", probe="pen")
    assert notes(rows(StageSet("a", Stage.RESTING, 2 * MIN), spot, check("pin", False))) == [""]


def test_the_verdicts_of_a_piece_rest_on_its_core() -> None:
    spot = SpotRead(65_000, 3 * MIN, "a")
    made = rows(StageSet("a", Stage.RESTING, 2 * MIN), spot, check("a/core", False))
    verdicts = [row for row in made if row.id is None]
    assert verdicts
    assert all("a/core failed its check" in row.note for row in verdicts)
