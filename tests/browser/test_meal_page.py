"""After the meal: asked once the cook is over, told by taps, told again if need be."""

from __future__ import annotations

from playwright.sync_api import expect

from pitlogger.model.journal import CookFinished
from tests.browser.conftest import Open, rested
from tests.browser.staging import Staged


def test_the_meal_is_told_from_the_page_and_told_again(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: stage.daemon.submit(CookFinished("harvest supper"), "AK"))
    page = open_page("/")
    page.get_by_role("link", name="Tell how the meal went").click()
    meal = page.locator("#meal")
    meal.get_by_label("Guests who ate, of 45 booked").fill("41")
    meal.get_by_role("textbox", name="Meat left over").fill("3 lb 4 oz")
    meal.get_by_label("How brisket-1 ate").select_option(label="as it should be")
    meal.get_by_label("What to know next time").fill("beans ran out")
    meal.get_by_role("button", name="Write it down").click()
    expect(page.locator("#told")).to_contain_text("the meal:")
    expect(meal).to_contain_text("41 came; 3 lb 4 oz was left; brisket-1 as it should be.")
    rested(page)
    meal.get_by_text("Tell it anew").click()
    expect(meal.get_by_label("Guests who ate")).to_have_value("41")
    meal.get_by_label("Guests who ate").fill("42")
    meal.get_by_role("button", name="Write it down").click()
    expect(meal).to_contain_text("42 came")
    page.goto(stage.address)
    expect(page.get_by_role("link", name="Tell how the meal went")).to_have_count(0)


def test_what_was_left_is_taken_in_the_units_of_the_phone(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: stage.daemon.submit(CookFinished("harvest supper"), "AK"))
    page = open_page("/")
    page.get_by_role("link", name="Tell how the meal went").click()
    page.locator("#meal").get_by_role("textbox", name="Meat left over").fill("3")
    page.locator("#meal").get_by_role("button", name="Write it down").click()
    expect(page.locator("#meal")).to_contain_text("3 lb 0 oz was left")
