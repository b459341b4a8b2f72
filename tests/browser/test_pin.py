"""A PIN stays on no phone: neither in what waits to be sent, nor in what is shown of it."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.conftest import Open
from tests.browser.staging import Staged

KEPT = """() => new Promise((resolve) => {
  const opened = indexedDB.open("pitlogger");
  opened.onsuccess = () => {
    const asked = opened.result.transaction("actions").objectStore("actions").getAll();
    asked.onsuccess = () => resolve(JSON.stringify(asked.result));
  };
})"""


def sign(page: Page, pin: str) -> None:
    page.get_by_label("Initials of the reviewer").fill("ZZ")
    page.get_by_label("PIN", exact=True).fill(pin)
    page.get_by_role("button", name="Sign the record off").click()


def test_a_refused_or_unsent_signature_leaves_no_pin_behind(stage: Staged, open_page: Open) -> None:
    page = open_page("/food")
    sign(page, "471199")
    expect(page.locator("form[data-refused]")).to_be_visible()
    page.reload()
    page.context.set_offline(True)
    sign(page, "471199")
    expect(page.locator("main")).to_contain_text("nothing was done")
    assert "471199" not in page.evaluate(KEPT)
    assert "471199" not in page.content()
