"""The food log: rows, corrective action, review and the hash chain.

Sources: 9 CFR 417.5 and 417.3; 21 CFR 11.10(e).
"""

from __future__ import annotations

import hashlib
from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitlogger.errors import RefusedError
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Adjusted,
    Body,
    CookStarted,
    Corrected,
    Entry,
    SpotRead,
    StageSet,
    Undone,
    Weighed,
)
from pitlogger.safety.judge import judge
from pitlogger.safety.record import (
    GENESIS,
    ChainLink,
    CorrectiveAction,
    LogRow,
    SignOff,
    chain,
    missing,
    review_notes,
    sign,
    unanswered,
    verify,
)
from pitlogger.safety.recorded import histories
from pitlogger.safety.sheets import sheets
from tests.safety.building import MIN, RETAIL, vectors

PAYLOADS = [{"n": number, "text": "größer"} for number in range(5)]
ACTION = CorrectiveAction(
    cause="lid left open", control_restored="lid shut, back at 140 F", prevention="timer set",
    disposition="reheated", by="AB", at_ms=5,
)  # fmt: skip
ROW = LogRow(
    sheet="hot-hold", id=("r", 1), observed_ms=0, entered_ms=0, by="AB", product="brisket-1",
    what="hand reading", value="133.0 F", limit="135 F or above", met=True,
)  # fmt: skip


def test_every_field_of_the_rules_has_its_place_in_the_record() -> None:
    row, action, review = (
        {f.name for f in fields(kind)} for kind in (LogRow, CorrectiveAction, SignOff)
    )
    places = {
        "product_or_lot_identity": "product" in row,
        "observed_value": "value" in row,
        "critical_limit": "limit" in row,
        "record_date": "entered_ms" in row,
        "entry_datetime": {"observed_ms", "entered_ms"} <= row,
        "signature_or_initials": "by" in row,
        "instrument_id_and_calibration": "instrument" in row,
        "corrective_action.cause": "cause" in action,
        "corrective_action.control_restored": "control_restored" in action,
        "corrective_action.prevention": "prevention" in action,
        "corrective_action.disposition": "disposition" in action,
        "pre_shipment_review": {"by", "at_ms", "head"} <= review,
        "audit_trail": "struck_by" in row,
    }
    wanted = {r["field"] for r in vectors("haccp_record_fields.csv")}
    assert set(places) <= wanted
    assert all(places.values())


def test_a_whole_chain_holds_and_begins_at_its_start() -> None:
    links = chain(PAYLOADS)
    assert verify(links) == []
    assert links[0].previous == GENESIS
    text = '{"n":0,"text":"größer"}'
    assert links[0].hash == hashlib.sha256(f"{GENESIS}\n{text}".encode()).hexdigest()


@pytest.mark.parametrize("position", range(5))
def test_a_changed_row_shows(position: int) -> None:
    links = chain(PAYLOADS)
    links[position] = replace(links[position], payload={"n": 99})
    assert f"row {position + 1} was changed" in verify(links)[0]


@pytest.mark.parametrize("position", range(4))
def test_a_removed_row_shows(position: int) -> None:
    links = chain(PAYLOADS)
    del links[position]
    assert verify(links)


def test_rows_cut_from_the_end_show_against_a_sign_off() -> None:
    links = chain(PAYLOADS)
    review = sign(links, "CD", 9)
    assert verify(links, [review]) == []
    assert "missing at the end" in verify(links[:3], [review])[0]


def test_a_chain_written_anew_shows_against_a_sign_off() -> None:
    review = sign(chain(PAYLOADS), "CD", 9)
    forged = chain([{"n": 7}, *PAYLOADS[1:]])
    assert verify(forged) == []
    assert "not the one CD signed" in verify(forged, [review])[0]


def test_a_chain_that_goes_on_after_a_sign_off_still_holds() -> None:
    review = sign(chain(PAYLOADS[:3]), "CD", 9)
    assert verify(chain(PAYLOADS), [review]) == []


@given(st.permutations(range(5)))
def test_moved_rows_show(order: list[int]) -> None:
    links = chain(PAYLOADS)
    moved = [links[index] for index in order]
    assert bool(verify(moved)) is (order != list(range(5)))


def test_a_sign_off_needs_initials_rows_and_a_chain_that_holds() -> None:
    links = chain(PAYLOADS)
    broken = [ChainLink(1, GENESIS, {"n": 0}, "0"), *links[1:]]
    for given_links, by, wanted in ((links, " ", "initials"), ([], "AB", "empty"),
                                    (broken, "AB", "does not hold")):  # fmt: skip
        with pytest.raises(RefusedError, match=wanted):
            sign(given_links, by, 0)


def test_a_limit_not_met_needs_all_four_parts_of_corrective_action() -> None:
    assert missing(ROW) == []
    assert missing(replace(ROW, met=False)) == ["corrective"]
    assert missing(replace(ROW, met=False, corrective=ACTION)) == []
    half = replace(ACTION, prevention=" ")
    assert missing(replace(ROW, met=False, corrective=half)) == ["corrective.prevention"]


def test_a_row_needs_initials_a_value_and_its_limit() -> None:
    bare = replace(ROW, by="", value="", limit="")
    assert missing(bare) == ["value", "by", "limit"]


def test_a_reviewer_is_told_of_gaps_and_of_rows_of_their_own() -> None:
    review = sign(chain([ROW.document()]), "AB", 9)
    notes = review_notes([replace(ROW, by="")], "CD")
    assert notes == [f"{ROW.product}, {ROW.what}: by missing"]
    assert "another person" in review_notes([ROW], review.by)[0]


def entries() -> list[Entry]:
    cook = Cook("test", (Piece("b", "brisket-packer", lot="L7", supplier="Hill farm"),))
    bodies: list[Body] = [
        CookStarted(cook),
        Weighed("b", "purchased", 6_000_000, 0, 0),
        SpotRead(3_000, MIN, "b", probe="pen"),
        StageSet("b", Stage.RESTING, 2 * MIN),
        SpotRead(56_000, 3 * MIN, "b", probe="pen"),
        Corrected("r", 5, SpotRead(65_000, 3 * MIN, "b", probe="pen"), "misread"),
        SpotRead(64_000, 5 * MIN, "b", probe="pen"),
        Undone("r", 7),
        Adjusted("b/core", -300, "ice point"),
    ]
    return [Entry("r", seq, seq * MIN, body, "AB") for seq, body in enumerate(bodies, start=1)]


def made() -> list[LogRow]:
    book = fold(entries())
    verdicts = [judge(held, RETAIL) for held in histories(book, [])]
    return sheets(entries(), book, verdicts, RETAIL, 99 * MIN)


def test_entries_go_to_their_sheets_with_lot_limit_and_instrument() -> None:
    rows = {row.id: row for row in made() if row.id is not None}
    received = rows["r", 2]
    assert (received.sheet, received.product) == ("receiving", "b (lot L7)")
    assert (received.value, received.note) == ("13 lb 3.6 oz", "supplier Hill farm, lot L7")
    cold = rows["r", 3]
    assert (cold.sheet, cold.met, cold.instrument) == ("cold-hold", True, "pen")
    assert "3-501.16(A)(2)" in cold.limit
    assert rows["r", 9].sheet == "thermometers"


def test_a_corrected_entry_stays_struck_out_beside_its_correction() -> None:
    rows = {row.id: row for row in made() if row.id is not None}
    assert (rows["r", 5].met, rows["r", 5].struck_by) == (False, ("r", 6))
    assert (rows["r", 6].met, rows["r", 6].struck_by) == (True, None)
    assert missing(rows["r", 5]) == []


def test_an_undone_entry_stays_struck_out() -> None:
    rows = {row.id: row for row in made() if row.id is not None}
    assert rows["r", 7].struck_by == ("r", 8)


def test_an_undo_that_was_undone_strikes_nothing() -> None:
    told = [*entries(), Entry("r", 10, 10 * MIN, Undone("r", 8), "AB")]
    rows = {row.id: row for row in sheets(told, fold(told), [], RETAIL, 0)}
    assert rows["r", 7].struck_by is None


def test_verdicts_stand_at_the_end_with_their_source() -> None:
    verdicts = [row for row in made() if row.id is None]
    assert {row.what: row.met for row in verdicts} == {"hot holding": True, "lethality": None}
    assert all(row.limit for row in verdicts)


def test_rows_go_into_the_chain_as_documents() -> None:
    assert verify(chain(row.document() for row in made())) == []


def test_only_a_limit_not_met_that_still_stands_waits_for_an_answer() -> None:
    breach = replace(ROW, met=False)
    rows = [ROW, replace(ROW, met=None), replace(breach, struck_by=("r", 9)),
            replace(breach, corrective=ACTION)]  # fmt: skip
    assert list(unanswered(rows)) == []
    assert list(unanswered([*rows, breach])) == ["brisket-1, hand reading (133.0 F)"]
    half = replace(ACTION, prevention=" ")
    (words,) = unanswered([replace(breach, corrective=half)])
    assert words == "brisket-1, hand reading (reheated, without its prevention)"
