"""A spreadsheet read in on the page: asked, shown, imported once, answers kept for the next."""

from __future__ import annotations

import base64
import html
import io
import json
import re
import zipfile

import httpx
import openpyxl
import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.workbook import rows_of_workbook
from pitlogger.web.access.roles import Role

from .conftest import Node

PASTED = """Briskets 2026
Date\tMeat\tRaw Weight\tSliced\tMood
5/2/2026\tBrisket\t14.2\t7.05\tgood
5/9/2026\tBrisket\t13.1\t6.6\ttired
"""
NEXT = PASTED.replace("5/2/2026", "6/3/2026").replace("5/9/2026", "6/4/2026")
QUESTIONS = 3


async def send(node: Node, status: int, role: Role = Role.OWNER, /, **fields: str) -> str:
    answer: httpx.Response = await node.network.post(
        "/import", data=fields, headers={**node.cookie(role), "Accept": "text/html"}
    )
    assert answer.status_code == status, answer.text
    return answer.text


async def cooks(node: Node) -> list[str]:
    await node.daemon.flushed()
    rows = (await node.local.get("/api/v1/cooks")).json()
    return sorted(row["name"] for row in rows)


async def answered(node: Node, wanted: tuple[str, ...], **fields: str) -> tuple[str, str]:
    """Answer what is asked; return the preview and the answers given."""
    confirm = ""
    for _ in range(QUESTIONS):
        text = await send(node, 409, Role.OWNER, **fields, confirm=confirm)
        options = re.findall(r'name="confirm" value="([^"]*)"', text)
        confirm = html.unescape(next(o for o in options if o.rpartition("; ")[2] in wanted))
    return await send(node, 200, Role.OWNER, **fields, confirm=confirm), confirm


WANTED = ("lb", "brisket-packer", "month first: 2026-05-02")


async def test_it_is_asked_shown_and_imported_with_yes(node: Node) -> None:
    text, confirm = await answered(node, WANTED, pasted=PASTED)
    assert await cooks(node) == []
    assert "Nothing was imported yet" in text
    assert "Raw Weight: purchased" in text
    assert "not read: Mood" in text
    assert "skipped above the header: line 1" in text
    assert "would teach servable yield: 2 of brisket-packer" in text
    assert "Import 2 rows" in text
    done = await send(node, 200, pasted=PASTED, confirm=f"{confirm}; yes")
    assert "2 rows are on record" in done
    assert await cooks(node) == ["2026-05-02", "2026-05-09"]
    again = await send(node, 200, pasted=PASTED, confirm=f"{confirm}; yes")
    assert "2 rows are on record already; nothing is new." in again
    assert len(await cooks(node)) == 2


async def test_what_was_answered_is_kept_for_the_next_file_of_the_form(node: Node) -> None:
    _, confirm = await answered(node, WANTED, pasted=PASTED)
    await send(node, 200, pasted=PASTED, confirm=f"{confirm}; yes")
    text = await send(node, 200, pasted=NEXT)  # no question
    assert "As with the last file of this form" in text
    assert "2026-06-03" in text
    other = NEXT.replace("Raw Weight", "Bought")
    await send(node, 409, pasted=other)  # another form is asked about
    from pitlogger.formats.own_sheet import header_of
    from pitlogger.formats.paper_log import table_in

    digest = header_of(table_in(PASTED.encode(), "x.csv").lines, "x.csv")
    kept = (await node.local.get(f"/api/v1/record/sheets/{digest}")).json()
    assert sorted(kept["answers"]) == ["brisket-packer", "lb", "month first"]


async def test_a_damaged_file_of_kept_answers_is_as_none(node: Node) -> None:
    (node.daemon.config.node.data / "sheets.json").write_text(json.dumps([1]), encoding="utf-8")
    await send(node, 409, pasted=PASTED)


async def test_a_chosen_file_travels_in_its_field(node: Node) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Date", "Cut", "Raw (kg)", "Sliced (kg)"], ["2026-05-02", "pork-butt", 4.1, 2.2]):
        sheet.append(row)
    held = io.BytesIO()
    book.save(held)
    content = base64.urlsafe_b64encode(held.getvalue()).decode().rstrip("=")
    text = await send(node, 200, content=content, file="mine.xlsx")
    assert "Import 1 row" in text
    await send(node, 200, content=content, file="mine.xlsx", confirm="yes")
    assert await cooks(node) == ["2026-05-02"]


async def test_faults_are_told_all_at_once_and_nothing_is_imported(node: Node) -> None:
    bad = PASTED.replace("14.2", "-3").replace("6.6", "soon").replace("Brisket", "brisket-packer")
    text = await send(node, 200, pasted=bad, confirm="lb; month first: 2026-05-02")
    assert "C3" in text
    assert "D4" in text
    assert "Import " not in text
    refused = await send(node, 400, pasted=bad, confirm="lb; month first: 2026-05-02; yes")
    assert "C3" in refused
    assert await cooks(node) == []


async def test_what_is_no_sheet_is_refused_with_what_to_do(node: Node) -> None:
    for fields in ({"pasted": ""}, {"content": "%%%"}, {"content": "AAAA", "file": "x.xlsx"},
                   {"pasted": "only words"}, {"pasted": "a\tb\n1\t2"}):  # fmt: skip
        text = await send(node, 400, Role.OWNER, **fields)
        assert "<script>alert" not in text
    assert await cooks(node) == []


async def test_who_may_only_lend_a_hand_imports_nothing(node: Node) -> None:
    await send(node, 403, Role.HANDS, pasted=PASTED, confirm="yes")
    assert await cooks(node) == []


async def test_a_large_file_is_taken_from_an_owner_and_from_nobody_else(node: Node) -> None:
    rows = [f"{day}/13/2026\tBrisket\t14.2\t7.05\t{'x' * 300}" for day in range(1, 13)] * 60
    large = "\n".join([*PASTED.splitlines()[:2], *rows])
    assert len(large) > 200_000
    content = base64.urlsafe_b64encode(large.encode()).decode()
    await send(node, 409, content=content, file="large.tsv")
    await send(node, 413, Role.HANDS, content=content, file="large.tsv")
    await send(node, 413, content="A" * 5_000_000, file="large.tsv")
    answer = await node.network.post(
        "/do/note", data={"text": "x" * 100_000}, headers=node.cookie(Role.OWNER)
    )
    assert answer.status_code == 413


async def test_a_small_file_that_unpacks_to_a_huge_one_is_refused(node: Node) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("xl/worksheets/sheet1.xml", b"0" * 40_000_000)
    content = base64.urlsafe_b64encode(packed.getvalue()).decode()
    text = await send(node, 400, content=content, file="small.xlsx")
    assert "40 MB unpacked" in text


def test_a_sheet_with_one_cell_at_its_far_end_is_no_burden() -> None:
    book = openpyxl.Workbook()
    book.active.append(["Cut", "Raw Weight (lb)"])
    book.active.append(["brisket-packer", 14.2])
    book.active["XFD9"] = "far"
    made = io.BytesIO()
    book.save(made)
    rows = rows_of_workbook(made.getvalue(), "far.xlsx").lines
    assert [len(cells) for _, cells in rows] == [2, 2, 0, 0, 0, 0, 0, 0, 0]
    book.active["A1048576"] = "deep"
    made = io.BytesIO()
    book.save(made)
    with pytest.raises(UsageError, match="20000 rows"):
        rows_of_workbook(made.getvalue(), "deep.xlsx")


async def test_an_unknown_column_is_told_on_the_page_and_kept_for_the_next_file(
    node: Node,
) -> None:
    plates = PASTED.replace("Sliced", "Onto plates")
    plates = plates.replace("5/2/", "5/22/").replace("5/9/", "5/23/")
    wanted = ("lb", "brisket-packer")
    confirm = ""
    for _ in wanted:
        text = await send(node, 409, pasted=plates, confirm=confirm)
        options = re.findall(r'name="confirm" value="([^"]*)"', text)
        confirm = html.unescape(next(o for o in options if o.rpartition("; ")[2] in wanted))
    text = await send(node, 200, pasted=plates, confirm=confirm)
    assert "nothing (no row has purchased and carved)" in text
    titles = dict(re.findall(r'name="(title-\d+)" value="([^"]*)"', text))
    at = next(name for name, title in titles.items() if title == "Onto plates")
    means = {at.replace("title", "means"): "carved"}
    text = await send(node, 200, pasted=plates, confirm=confirm, **titles, **means)
    assert "would teach servable yield: 2 of brisket-packer" in text
    confirm = html.unescape(re.findall(r'name="confirm" value="([^"]*yes)"', text)[0])
    assert "2 rows are on record" in await send(node, 200, pasted=plates, confirm=confirm)
    text = await send(node, 200, pasted=plates.replace("5/2", "6/2"))
    assert "would teach servable yield: 2 of brisket-packer" in text


async def test_of_several_sheets_it_is_asked_which_said_which_and_another_can_be_chosen(
    node: Node,
) -> None:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for year in (2025, 2026):
        sheet = book.create_sheet(str(year))
        sheet.append(["Date", "Cut", "Raw (kg)", "Sliced (kg)"])
        sheet.append([f"{year}-05-02", "pork-butt", 4.1, 2.2])
    held = io.BytesIO()
    book.save(held)
    content = base64.urlsafe_b64encode(held.getvalue()).decode().rstrip("=")
    fields = {"content": content, "file": "mine.xlsx"}
    asked = await send(node, 409, **fields)
    assert "rows on several sheets" in asked
    text = await send(node, 200, **fields, confirm="sheet 2025")
    assert "sheet 2025 was read; not read: sheet 2026" in text
    assert 'value="sheet 2026">2026' in text
    assert "2025-05-02" in text
    text = await send(node, 200, **fields, sheet="sheet 2026")
    assert "sheet 2026 was read" in text
    confirm = html.unescape(re.findall(r'name="confirm" value="([^"]*yes)"', text)[0])
    await send(node, 200, **fields, confirm=confirm)
    assert await cooks(node) == ["2026-05-02"]
    await send(node, 200, **fields, confirm="sheet 2025; yes")
    assert await cooks(node) == ["2025-05-02", "2026-05-02"]
