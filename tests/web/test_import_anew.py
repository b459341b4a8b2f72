"""The same sheet again: grown, mended, read otherwise, taken back before; nothing counts twice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitlogger.formats.journal_json import dump_body
from pitlogger.formats.paper_journal import cooks_of
from pitlogger.formats.paper_log import parse_paper_log
from pitlogger.model.journal import CookFinished
from pitlogger.questions import Answers, QuestionError
from pitlogger.web.import_batches import put_on_record, withdraw_batch
from tests.web.conftest import Node
from tests.web.test_corrections import carved_g, post

HEAD = "date,cut,purchased,carved\n"
MAY = "2026-05-02,brisket-packer,14.2 lb,7.05 lb\n"
BUTT = "2026-05-09,pork-butt,8.4 lb,4.5 lb\n"
JUNE = "2026-06-06,brisket-packer,13.1 lb,6.6 lb\n"


async def imported(node: Node, *rows: str, batch: str, say: str = "") -> list[str]:
    read = cooks_of(parse_paper_log((HEAD + "".join(rows)).encode()).rows)
    cooks = [replace(cook, batch=batch) for cook in read]
    made = await put_on_record(node.daemon, cooks, batch, "AB", Answers.of(say))
    return [one.name for one in made.new]


async def test_a_sheet_that_grew_at_its_head_brings_only_what_is_new(node: Node) -> None:
    assert await imported(node, MAY, BUTT, batch="import-1") == ["2026-05-02", "2026-05-09"]
    assert await imported(node, JUNE, MAY, BUTT, batch="import-2") == ["2026-06-06"]
    assert len(await carved_g(node)) == 3


async def test_a_row_that_was_mended_is_asked_about_and_stands_in_place(node: Node) -> None:
    await imported(node, MAY, BUTT, batch="import-1")
    mended = MAY.replace("7.05", "7.5")
    with pytest.raises(QuestionError, match="2026-05-02: on record already"):
        await imported(node, mended, BUTT, batch="import-2")
    assert len(await carved_g(node)) == 2
    assert await imported(node, mended, BUTT, batch="import-2", say="replace what is there") == [
        "2026-05-02"
    ]
    assert [round(one / 453.59237, 2) for one in await carved_g(node)] == [7.5, 4.5]


async def test_the_same_file_with_days_and_months_the_other_way_round_is_asked_about(
    node: Node,
) -> None:
    await imported(node, MAY, batch="import-1")
    other = MAY.replace("05-02", "02-05")
    with pytest.raises(QuestionError):
        await imported(node, other, batch="import-1")
    await imported(node, other, batch="import-1", say="keep both")
    assert len(await carved_g(node)) == 2


async def test_what_was_taken_back_whole_comes_back_with_a_mended_file(node: Node) -> None:
    await imported(node, MAY, BUTT, batch="import-1")
    await withdraw_batch(node.daemon, "import-1", "last year's prices", "AB")
    assert await carved_g(node) == []
    await imported(node, MAY.replace("7.05", "7.5"), BUTT, batch="import-2")
    assert [round(one / 453.59237, 2) for one in await carved_g(node)] == [7.5, 4.5]


async def test_a_cook_withdrawn_by_itself_does_not_come_back_with_the_grown_sheet(
    node: Node,
) -> None:
    await imported(node, MAY, BUTT, batch="import-1")
    await post(node, "/cooks/withdraw", cook="2026-05-02", reason="a trial")
    assert await imported(node, MAY, BUTT, JUNE, batch="import-2") == ["2026-06-06"]
    assert len(await carved_g(node)) == 2


async def test_what_gave_way_comes_back_once_what_it_gave_way_to_is_taken_back(node: Node) -> None:
    await imported(node, MAY, BUTT, batch="import-1")
    mended = MAY.replace("7.05", "7.5")
    await imported(node, mended, BUTT, batch="import-2", say="replace what is there")
    await withdraw_batch(node.daemon, "import-2", "it was right before", "AB")
    assert await imported(node, MAY, BUTT, batch="import-1") == ["2026-05-02"]
    assert [round(one / 453.59237, 2) for one in await carved_g(node)] == [7.05, 4.5]


async def test_a_pad_mended_and_entered_again_is_asked_about(node: Node) -> None:
    def document(text: str) -> dict[str, Any]:
        cook = cooks_of(parse_paper_log((HEAD + text).encode()).rows)[0]
        return {"name": cook.name, "start_ms": cook.start_ms,
                "bodies": [{"t_ms": t, "body": dump_body(b)} for t, b in cook.bodies]}  # fmt: skip

    assert (await post(node, "/record", cooks=[document(MAY)]))["rows"] == 1
    assert (await post(node, "/record", cooks=[document(MAY)]))["rows"] == 0
    mended = document(MAY.replace("7.05", "7.5"))
    asked = await post(node, "/record", 409, cooks=[mended])
    assert asked["options"] == ["replace what is there", "keep both"]
    assert asked["confirm"] == "keep both"
    await post(node, "/record", cooks=[mended], confirm="replace what is there")
    assert len(await carved_g(node)) == 1
    await post(node, "/cooks/withdraw", cook="2026-05-02", reason="typed twice")
    assert (await post(node, "/record", cooks=[mended]))["rows"] == 1  # entered again: it is back
    assert len(await carved_g(node)) == 1


@pytest.mark.parametrize(
    ("say", "masses"), [("both of them", 2), ("what was logged here", 1), ("the sheet", 1)]
)
async def test_a_cook_that_was_logged_here_and_stands_in_the_sheet_is_asked_about(
    node: Node, say: str, masses: int
) -> None:
    """Under another name, begun the evening before; the sheet knows the day of the meal."""
    (there,) = cooks_of(parse_paper_log((HEAD + MAY).encode()).rows)
    evening_ms = there.start_ms - 16 * 3_600_000
    logged = [(at_ms - 16 * 3_600_000, body) for at_ms, body in there.bodies]
    ended = (evening_ms + 20 * 3_600_000, CookFinished("May supper"))
    here = replace(there, name="May supper", start_ms=evening_ms, bodies=(*logged, ended))
    await node.daemon.add_past([here])
    with pytest.raises(QuestionError, match="logged here too"):
        await imported(node, MAY, JUNE, batch="import-1")
    assert len(await carved_g(node)) == 1, "nothing was imported by halves"
    await imported(node, MAY, JUNE, batch="import-1", say=say)
    assert len(await carved_g(node)) == masses + 1
