"""Turn in: the ring test is rung, shown as it goes, and answered by "Got it"."""

from __future__ import annotations

from playwright.sync_api import expect

from pitlogger.model.journal import Noted
from tests.browser.conftest import Open
from tests.browser.staging import Staged


def test_the_ring_test_is_answered_by_a_tap(stage: Staged, open_page: Open) -> None:
    page = open_page("/turn-in")
    expect(page.locator("#checks")).to_contain_text("nobody is told: only an open page sounds")
    page.get_by_role("button", name="Ring now").click()
    expect(page.locator("#told")).to_contain_text("Ringing.")
    expect(page.locator("#ring")).to_contain_text("Did it reach you?")
    page.get_by_role("button", name="Got it").click()
    expect(page.locator("#ring")).to_contain_text("by AK")
    expect(page.locator("#checks")).to_contain_text("ring test heard at")
    assert isinstance(stage.daemon.engine.state.entries[-1].body, Noted)


def test_what_comes_till_morning_says_whether_it_wakes(stage: Staged, open_page: Open) -> None:
    page = open_page("/turn-in")
    expect(page.locator("#night")).to_contain_text("Till ")
    expect(page.locator("#night")).to_contain_text("wakes you")
    expect(page.locator("#waking")).to_contain_text("pit too cold: pit below 210 F")
