"""An outcome moves the screen: a tap meant for what stood there is dropped and shown, others act.

The page's clock stands still, so that the tap comes while the screen has just moved.
"""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PHONE, pairing_cookie
from tests.browser.staging import Staged

# Where a control stands now on which another one stood before the screen moved, and one where
# nothing did: far from what was tapped and from what rests.
SPOTS = """([down, tapped]) => {
    const CONTROL = 'button, a, summary, label, input, select';
    const found = { other: null, blank: null };
    for (const one of document.querySelectorAll('main a, main summary')) {
        const box = one.getBoundingClientRect();
        for (let y = Math.ceil(box.top) + 1; y < box.bottom; y += 1) {
            const x = box.left + Math.min(20, box.width / 2);
            if (y < 0 || y + down > innerHeight - 1 || Math.abs(y - tapped) < 60) continue;
            const now = document.elementFromPoint(x, y);
            const was = document.elementFromPoint(x, y + down);
            if (!now || !was?.closest('main') || now.closest(CONTROL) !== one) continue;
            if (one.closest('[aria-disabled]')) continue;
            const before = was.closest(CONTROL);
            if (before && before !== one) found.other ??= { x, y };
            if (!before) found.blank ??= { x, y };
        }
    }
    return found;
}"""
RESTS = """([x, y]) => document.elementFromPoint(x, y).closest("[aria-disabled=true]") !== null"""
TOUCHED = """() => {
    window.touched = [];
    document.addEventListener('click', (event) => {
        window.touched.push(event.target.closest('a, summary')?.textContent);
        event.preventDefault();
    });
}"""


@pytest.fixture
def moved(stage: Staged, browser: Browser) -> Any:
    """Tap "Off the pit" and stop the clock when its outcome has moved the screen."""
    with browser.new_context(**PHONE) as context:
        context.add_cookies([pairing_cookie(stage)])
        page = context.new_page()
        page.clock.install()
        page.goto(stage.address)
        page.clock.pause_at(page.evaluate("Date.now()") + 1000)
        page.clock.run_for(2000)
        top = page.locator("main").bounding_box()
        button = page.get_by_role("button", name="Off the pit: brisket-1")
        box = button.bounding_box()
        assert top is not None
        assert box is not None
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        expect(page.locator("#told")).to_contain_text("off the pit")
        now = page.locator("main").bounding_box()
        assert now is not None
        page.evaluate(TOUCHED)
        yield page, page.evaluate(SPOTS, [now["y"] - top["y"], box["y"]])


def test_a_tap_meant_for_what_stood_there_is_dropped_and_shown(moved: tuple[Page, Any]) -> None:
    page, spots = moved
    assert spots["other"] is not None
    at = spots["other"]["x"], spots["other"]["y"]
    page.mouse.click(*at)
    assert page.evaluate("window.touched") == []
    assert page.evaluate(RESTS, [*at])
    page.clock.run_for(600)
    page.mouse.click(*at)
    assert len(page.evaluate("window.touched")) == 1


def test_a_tap_on_what_came_where_nothing_stood_acts_at_once(moved: tuple[Page, Any]) -> None:
    page, spots = moved
    assert spots["blank"] is not None
    page.mouse.click(spots["blank"]["x"], spots["blank"]["y"])
    assert len(page.evaluate("window.touched")) == 1


@pytest.mark.parametrize("kind", ["main summary", ".pick"])
def test_a_fold_or_a_choice_that_took_no_tap_shows_it(
    stage: Staged, browser: Browser, kind: str
) -> None:
    with browser.new_context(**PHONE) as context:
        context.add_cookies([pairing_cookie(stage)])
        page = context.new_page()
        page.clock.install()
        page.goto(f"{stage.address}temp")
        page.clock.pause_at(page.evaluate("Date.now()") + 1000)
        page.clock.run_for(2000)
        page.locator(".pick").nth(1).click()
        page.locator("[name=value]").fill("150")
        page.get_by_role("button", name="Keep 150").click()
        expect(page.locator("#told")).to_contain_text("by hand")
        one = page.locator(kind).first
        was = one.bounding_box()
        assert was is not None
        at = was["x"] + 4, was["y"] + was["height"] / 2
        style = "(one) => getComputedStyle(one).outline"
        before = one.evaluate(style)
        page.mouse.click(*at)
        assert page.evaluate(RESTS, [*at])
        assert one.evaluate(style) != before
        assert one.bounding_box() == was, "nothing moves by it"
        page.clock.run_for(600)
        assert not page.evaluate(RESTS, [*at])
