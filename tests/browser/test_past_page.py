"""Past cooks on a phone: a spreadsheet chosen from its files, a line written down put right."""

from __future__ import annotations

from playwright.sync_api import expect

from pitlogger.model.journal import CookFinished
from tests.browser.conftest import Open
from tests.browser.staging import Staged

SHEET = b"Date,Cut,Raw (kg),Sliced (kg)\n2026-05-02,pork-butt,4.1,2.2\n"


def test_a_file_is_chosen_shown_and_imported(stage: Staged, open_page: Open) -> None:
    page = open_page("/import")
    page.get_by_label("File, XLSX or CSV").set_input_files(
        {"name": "mine.csv", "mimeType": "text/csv", "buffer": SHEET}
    )
    expect(page.locator("[data-said]")).to_contain_text("mine.csv")
    page.get_by_role("button", name="Show how it is understood").click()
    expect(page.get_by_role("region", name="Rows")).to_contain_text("pork-butt")
    page.get_by_role("button", name="Import 1 row").click()
    expect(page.locator("p.sentence")).to_contain_text("on record")


def test_a_note_of_a_past_cook_is_taken_back_with_why(stage: Staged, open_page: Open) -> None:
    cook = stage.daemon.cook
    stage.call(lambda: stage.daemon.submit(CookFinished("harvest supper"), "AK"))
    page = open_page(f"/cooks/{cook}")
    line = page.locator("#written li").nth(1)
    line.get_by_text("Put right").click()
    back = line.locator('form[action="/do/undo"]')
    back.get_by_label("Why").fill("tapped twice")
    back.get_by_role("button").click()
    expect(page.locator("#written")).to_contain_text("taken back")
    expect(page.locator("#written")).to_contain_text("tapped twice")
