"""Wrong values in forms: the field at fault is framed, has the focus and is told once, in words.

What was typed stays, in this field and the others; no message fills a third of the screen.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from pitlogger.planning.job.first_file import first_job
from pitlogger.web.routes.jobs import shelf_of
from tests.browser.conftest import Open
from tests.browser.staging import Staged

LONG = "x" * 300
Case = tuple[str, str, dict[str, str | bool], str, str, str]
# Screen, form, other fields, the field at fault, what is typed there, what is told.
BOIL = "#boil"
WRONG: list[Case] = [
    ("/temp", "#temp-form", {}, "value", "9" * 20, "the most that any probe reads"),
    ("/temp", "#temp-form", {}, "value", LONG, "is not a temperature"),
    ("/temp", "#temp-form", {"value": "150"}, "ago_min", "6,1 h", "is no number of minutes"),
    ("/temp", "#temp-form", {"value": "150"}, "ago_min", "10081", "0 to 10080"),
    ("/weigh", "[action='/do/container']", {"name": "tray"}, "mass", "0", "weigh it empty"),
    ("/weigh", "[action='/do/container']", {"name": "tray"}, "mass", "9" * 20, "100 t"),
    ("/checks", BOIL, {"other": "hand 1", "value": "212"}, "altitude", "6,1", "is not an altitude"),
    ("/checks", "#mass", {"other": "scale", "mass-shown": "1", "mass-interval": "1 g"}, "mass", "0",
     "above zero"),
    ("/begin", "#begin-form", {"name": "supper"}, "wrap_at-1", "-5", "the core of meat lies"),
    ("/begin", "#begin-form", {"name": "supper"}, "set_point-1", "9999", "the most that any probe"),
    ("/settings", "#band-pit form", {}, "channel.low", "300", "does not lie below"),
    ("/", "[action='/do/merge']", {"pieces.0": True, "pieces.1": True}, "into.id", " ",
     "Nothing stands here."),
]  # fmt: skip


# Of screens that answer with a whole page.
WRONG_PAGES: list[Case] = [
    ("/plan", "[action='/plan']", {}, "guests", "12 lbs 3", "is not a whole number"),
    ("/plan", "[action='/plan']", {"guests": "45"}, "piece_mass", LONG, "is not a mass"),
    ("/plan", "[action='/plan']", {"guests": "45"}, "over", "half", "is not a number"),
    ("/job", "[action='/job']", {"serve_at": "2027-09-19T18:00", "place": "barn"}, "guests", "-5",
     "is not a whole number"),
    ("/job/barn", "#change", {"job.client": "Doe"}, "job.allergens", "soap", "Allergens in it"),
    ("/job/barn", "#change", {"job.client": "Doe"}, "meat.0.price", "12 lbs 3",
     "Not done. Price of the raw meat: '12 lbs 3' is not a price"),
    ("/job/barn", "#change", {"job.client": "Doe"}, "tier.0.price", "12", "Guests of one price"),
]  # fmt: skip


@pytest.mark.looks
@pytest.mark.parametrize(("path", "form", "others", "field", "value", "told"), WRONG + WRONG_PAGES)
def test_a_wrong_value_is_told_at_its_field_and_nothing_is_lost(
    stage: Staged, open_page: Open, path: str, form: str, others: dict[str, str | bool],
    field: str, value: str, told: str,
) -> None:  # fmt: skip
    if path == "/job/barn" and "barn" not in shelf_of(stage.daemon).ids():
        text = first_job([("brisket-packer", "100")], 45, "2027-09-19T18:00:00Z", "barn", "barn")
        shelf_of(stage.daemon).keep("barn", text, None)
    page = open_page(path, viewport={"width": 360, "height": 640})
    before = len(stage.daemon.engine.state.entries)
    _fill(page, form, {**others, field: value})
    expect(page.locator(".refused")).to_have_count(1)
    expect(page.locator(".refused")).to_contain_text(told)
    wrong = page.locator(f"{form} [aria-invalid=true]")
    expect(wrong).to_have_count(1)
    at_fault = "tier.0.what" if field == "tier.0.price" else field  # the one that is missing
    expect(wrong).to_have_attribute("name", at_fault)
    expect(wrong).to_be_focused()
    expect(page.locator(f"{form} [name='{field}']")).to_have_value(value)
    expect(page.locator("main [role=alert]")).to_have_count(1)
    box = page.locator(".refused").bounding_box()
    assert box is not None
    assert box["height"] < 640 / 3
    for name, given in others.items():
        one = page.locator(f"{form} [name='{name}']")
        expect(one).to_be_checked() if given is True else expect(one).to_have_value(str(given))
    assert len(stage.daemon.engine.state.entries) == before


@pytest.mark.looks
def test_a_plan_without_a_cut_marks_the_choice_of_it(stage: Staged, open_page: Open) -> None:
    page = open_page("/plan?guests=45")
    expect(page.locator("[name=cut]")).to_be_focused()
    expect(page.locator("main [aria-invalid=true]")).to_have_attribute("name", "cut")
    expect(page.locator(".refused")).to_contain_text("choose a cut")


def _fill(page: Page, form: str, values: dict[str, str | bool]) -> None:
    """Fill in a form as a hand does, folds open, and send it."""
    page.locator(form).first.wait_for(state="attached")
    page.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
    picks = page.locator(f"{form} .pick:has([name=piece])")
    if picks.count():
        picks.first.click()
    if form == "#begin-form":
        page.locator("[name=cut-1]").select_option("brisket-packer")
    for name, value in values.items():
        one = page.locator(f"{form} [name='{name}']")
        one.check() if value is True else one.fill(str(value))
    send = page.locator(f"{form} button:not([type=button])").last
    expect(send).not_to_have_attribute(
        "aria-disabled", "true"
    )  # a choice may come before its script
    send.click()
