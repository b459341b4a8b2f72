"""Sheets open from the page, with their styles, under a policy that lets nothing else in."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, Open
from tests.browser.staging import Staged

MENU = (
    "plan?guests=45&portion=5oz&cut=brisket-packer&share=60&price=5.49%2Flb&cut-2=pork-butt"
    "&share-2=40&price-2=2.19%2Flb&serve_at=2026-09-19T18:00&target=30"
)


def _watch(page: Page) -> list[str]:
    refused: list[str] = []
    page.on("console", lambda said: refused.append(said.text) if said.type == "error" else None)
    return refused


LAID_OUT_MS = 120_000  # by another process, which a crowded machine starts when it can


def _open(page: Page, name: str) -> None:
    """Press a button and wait for the sheet it makes, however long it is laid out."""
    with page.expect_navigation(timeout=LAID_OUT_MS):
        page.get_by_role("button", name=name).click(no_wait_after=True)


@pytest.mark.looks
def test_the_cook_report_opens_styled(stage: Staged, open_page: Open) -> None:
    page = open_page("/print", **DESKTOP)
    refused = _watch(page)
    _open(page, "Cook report")
    expect(page.get_by_role("heading", level=1)).to_contain_text("harvest supper")
    assert page.evaluate("getComputedStyle(document.body).maxWidth") != "none"
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert refused == []


@pytest.mark.looks
def test_the_food_log_and_the_take_along_sheet_open(stage: Staged, open_page: Open) -> None:
    page = open_page("/print")
    refused = _watch(page)
    for name, heading in (("Food log", "Food"), ("Take-along sheet", "Take-along sheet")):
        page.goto(f"{stage.address}print")
        _open(page, name)
        expect(page.get_by_role("heading", level=1)).to_contain_text(heading)
    assert refused == []


@pytest.mark.looks
def test_a_label_is_made_from_its_form(stage: Staged, open_page: Open) -> None:
    page = open_page("/print")
    label = page.locator("#label")
    label.get_by_label("What is in it").fill("pulled pork")
    label.get_by_label("Ingredients").fill("pork\nbarbecue sauce (soy, wheat)")
    label.get_by_label("Vacuum-packed").select_option("no")
    label.get_by_label("Wheat").select_option("yes")
    _open(page, "Make the label")
    expect(page.get_by_role("heading", level=1)).to_have_text("pulled pork")
    expect(page.locator("main")).to_contain_text("do not hand out")
    expect(page.locator("main")).to_contain_text("wheat")


def test_a_menu_is_planned_bought_and_begun(stage: Staged, open_page: Open) -> None:
    page = open_page(MENU)
    expect(page.locator("#sentence")).to_contain_text("pork butt")
    expect(page.locator(".picture svg")).to_have_count(2)
    page.get_by_role("link", name="Shopping list").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Shopping list")
    expect(page.locator("main")).to_contain_text("pork butt")
    page.go_back()
    page.get_by_role("link", name="Job and quote").click()
    expect(page.get_by_label("Guests", exact=True).first).to_have_value("45")
