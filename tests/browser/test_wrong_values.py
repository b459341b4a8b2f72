"""Wrong values in forms: the field at fault is framed, has the focus and is told once, in words.

What was typed stays, in this field and the others; no message fills a third of the screen.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Open
from tests.browser.staging import Staged

LONG = "x" * 300
# Screen, form, other fields, the field at fault, what is typed there, what is told.
WRONG = [
    ("/temp", "#temp-form", {}, "value", "9" * 20, "the most that any probe reads"),
    ("/temp", "#temp-form", {}, "value", LONG, "is not a temperature"),
    ("/temp", "#temp-form", {"value": "150"}, "ago_min", "6,1 h", "is no number of minutes"),
    ("/temp", "#temp-form", {"value": "150"}, "ago_min", "10081", "0 to 10080"),
    ("/weigh", "[action='/do/container']", {"name": "tray"}, "mass", "0", "weigh it empty"),
    ("/weigh", "[action='/do/container']", {"name": "tray"}, "mass", "9" * 20, "100 t"),
    ("/", "[action='/do/merge']", {"pieces.0": True, "pieces.1": True}, "into.id", " ",
     "Nothing stands here."),
]  # fmt: skip


@pytest.mark.looks
@pytest.mark.parametrize(("path", "form", "others", "field", "value", "told"), WRONG)
def test_a_wrong_value_is_told_at_its_field_and_nothing_is_lost(
    stage: Staged, open_page: Open, path: str, form: str, others: dict[str, str | bool],
    field: str, value: str, told: str,
) -> None:  # fmt: skip
    page = open_page(path, viewport={"width": 360, "height": 640})
    before = len(stage.daemon.engine.state.entries)
    _fill(page, form, {**others, field: value})
    expect(page.locator(".refused")).to_have_count(1)
    expect(page.locator(".refused")).to_contain_text(told)
    wrong = page.locator(f"{form} [aria-invalid=true]")
    expect(wrong).to_have_count(1)
    expect(wrong).to_have_attribute("name", field)
    expect(wrong).to_be_focused()
    expect(wrong).to_have_value(value)
    box = page.locator(".refused").bounding_box()
    assert box is not None
    assert box["height"] < 640 / 3
    for name, given in others.items():
        one = page.locator(f"{form} [name='{name}']")
        expect(one).to_be_checked() if given is True else expect(one).to_have_value(str(given))
    assert len(stage.daemon.engine.state.entries) == before


def _fill(page: Page, form: str, values: dict[str, str | bool]) -> None:
    """Fill in a form as a hand does, folds open, and send it."""
    page.locator(form).first.wait_for(state="attached")
    page.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
    picks = page.locator(f"{form} .pick:has([name=piece])")
    if picks.count():
        picks.first.click()
    for name, value in values.items():
        one = page.locator(f"{form} [name='{name}']")
        one.check() if value is True else one.fill(str(value))
    page.locator(f"{form} button:not([type=button])").last.click()
