"""A job by touch on a phone of 390 pixels: four answers, a change, a paper, after the event."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, Open, rested

DESK_1440: dict[str, Any] = {"viewport": {"width": 1440, "height": 900}}
PHONE_390: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def picture(page: Page, name: str) -> None:
    """Keep a picture where somebody wants to look at it."""
    if folder := os.environ.get("PITLOGGER_PICTURES"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]  # type: ignore[index]


def first_quote(page: Page) -> None:
    page.get_by_label("Guests").fill("120")
    page.get_by_label("Served at").fill("2027-06-19T17:00")
    page.get_by_label("Place").fill("orchard")
    page.get_by_label("Name of the job").fill("orchard wedding")
    page.get_by_role("button", name="Make a first quote").tap()
    expect(page.locator("#sentence")).to_contain_text("120 guests: buy")


def test_four_answers_a_change_and_a_quote_by_touch(open_page: Open) -> None:
    page = open_page("/job", **PHONE_390)
    picture(page, "job-new")
    fits(page)
    first_quote(page)
    picture(page, "job-first")
    expect(page.locator("#plan-b")).to_contain_text("unless it is wrapped")
    fits(page)
    expect(page.locator("#assumed")).to_contain_text("Portion of an adult")
    before = page.locator("#sentence").inner_text()

    page.get_by_label("Guests").first.fill("150")
    page.get_by_role("button", name="See what follows").first.tap()
    expect(page.locator("#follows")).to_contain_text("pieces of")
    expect(page.locator("#follows")).to_contain_text("Nothing is kept yet")
    picture(page, "job-follows")
    fits(page)
    rested(page)
    page.get_by_role("link", name="Leave it as it was").tap()
    expect(page.locator("#sentence")).to_have_text(before)
    page.get_by_label("Guests").first.fill("150")
    rested(page)
    page.get_by_role("button", name="See what follows").first.tap()
    rested(page)
    page.locator("#follows").get_by_role("button", name="Keep this").tap()
    expect(page.locator("#sentence")).to_contain_text("150 guests: buy")

    rested(page)
    page.get_by_role("button", name="Issue the quote").tap()
    expect(page.locator(".sentence")).to_contain_text("Q-0001")
    rested(page)
    page.get_by_role("button", name="issue Q-0001").tap()
    expect(page.locator("#papers")).to_contain_text("Q-0001")
    rested(page)
    page.get_by_role("button", name="Issue the quote").tap()
    expect(page.locator("main")).to_contain_text("the last one says the same")
    page.go_back()
    page.get_by_role("link", name="Q-0001").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Quote Q-0001")


@pytest.mark.parametrize(("name", "settings"), [("phone", PHONE_390), ("desk", DESK_1440)])
def test_two_sittings_and_two_cuts_have_their_options_side_by_side(
    open_page: Open, name: str, settings: dict[str, Any]
) -> None:
    page = open_page("/job", **settings)
    page.get_by_label("Guests").fill("120")
    page.get_by_label("Served at").fill("2027-06-19T12:30")
    page.get_by_label("Place").fill("orchard")
    page.locator("[name=share-1]").fill("60")
    page.locator("[name=cut-2]").select_option("pork-butt")
    page.locator("[name=share-2]").fill("40")
    page.get_by_label("Name of the job").fill("orchard wedding")
    page.get_by_role("button", name="Make a first quote").click()
    expect(page.locator("#sentence")).to_contain_text("120 guests: buy")
    _add_a_sitting(page)
    expect(page.locator("#follows")).to_contain_text("pieces of")
    rested(page)
    page.locator("#follows").get_by_role("button", name="Keep this").click()
    expect(page.locator("#sentence")).to_contain_text("200 guests: buy")
    picture(page, f"job-two-sittings-{name}")
    guests = [page.locator(f"[name='sitting.{row}.guests']").input_value() for row in (0, 1)]
    assert guests == ["120", "80"]
    for cut in ("whole brisket", "pork butt"):
        own = page.get_by_role("region", name=cut, exact=True)
        assert own.locator("thead th").all_inner_texts()[:3] == ["Pieces", "Enough", "Left over"]
        assert own.locator("tr.best").count() == 1
        instead = page.get_by_role("region", name=f"{cut} side by side")
        heads = ["Cut", "Pieces", "Raw", "Meat", "Enough", "Served", "Work"]
        assert instead.locator("thead th").all_inner_texts() == heads
        assert all(text.strip() for text in instead.locator("tbody td").all_inner_texts())
    assert page.locator(".best").count() == 2
    fits(page)


def _add_a_sitting(page: Page) -> None:
    """Serve eighty more in the evening, in the barn."""
    page.locator("#change details").evaluate_all(
        "all => all.forEach((one) => { one.open = true; })"
    )
    for key, value in (("at", "2027-06-19T18:30"), ("place", "barn"), ("guests", "80")):
        page.locator(f"[name='sitting.0.{key}']").fill(value)
    for row, cut in enumerate(("brisket-flat", "pork-picnic")):
        page.locator(f"[name='meat.{row}.or_else.0.cut']").select_option(cut)
        page.locator(f"[name='meat.{row}.or_else.0.price']").fill("6.49/lb")
    page.locator("[name='job.guests']").fill("80")
    page.get_by_role("button", name="See what follows").first.click()
    expect(page.get_by_role("alert")).to_contain_text("not more than the 80 of further sittings")
    page.locator("[name='job.guests']").fill("200")
    rested(page)
    page.get_by_role("button", name="See what follows").first.click()


def test_what_was_typed_wrongly_is_named_and_stays(open_page: Open) -> None:
    page = open_page("/job", **PHONE_390)
    first_quote(page)
    page.get_by_label("Guests").first.fill("0")
    rested(page)
    page.get_by_role("button", name="See what follows").first.tap()
    expect(page.get_by_role("alert")).to_contain_text("Guests")
    expect(page.get_by_label("Guests").first).to_have_value("0")
    page.get_by_label("Guests").first.fill("120")
    rested(page)
    page.get_by_text("Dishes", exact=True).tap()
    page.get_by_label("Share of the meal, %").first.fill("60")
    rested(page)
    page.get_by_role("button", name="See what follows").first.tap()
    expect(page.get_by_role("alert")).to_contain_text("60")
    page.reload()
    page.goto(page.url)
    expect(page.locator("#sentence")).to_contain_text("120 guests: buy")


def test_the_sheets_of_a_job_open_and_are_kept_as_files(open_page: Open) -> None:
    page = open_page("/job", **DESKTOP)
    page.get_by_label("Guests").fill("60")
    page.get_by_label("Served at").fill("2027-06-19T17:00")
    page.get_by_label("Place").fill("barn")
    page.get_by_role("button", name="Make a first quote").click()
    picture(page, "job-desk")
    with page.expect_download() as kept:
        page.get_by_role("link", name="Shopping list, as a file").click()
    assert kept.value.suggested_filename.endswith("shopping.html")
    for name in ("Shopping list", "Run sheet", "Packing list"):
        page.get_by_role("link", name=name, exact=True).click()
        expect(page.get_by_role("heading", level=1)).to_contain_text(name)
        page.go_back()
