"""From Begin to the signed log in one sitting: by touch alone, and by the keyboard alone."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from pitlogger.model.journal import CookFinished, SpotRead, StageSet, Weighed
from tests.browser.conftest import Open, rested, settled
from tests.browser.staging import Staged

Press = Callable[[Locator], None]
Write = Callable[[Locator, str], None]
ACTS = ("Trim", "Season", "On the pit", "Wrap", "Off the pit")


def _tap(at: Locator) -> None:
    at.tap()


def _touch_write(at: Locator, text: str) -> None:
    at.tap()
    at.page.keyboard.insert_text(text)  # what a phone's own keys on the glass send


def _key(at: Locator) -> None:
    """Go there by Tab alone and press it as a keyboard does."""
    page = at.page
    expect(at).to_be_visible()
    expect(at).to_be_enabled()
    for _ in range(150):
        if at.evaluate("node => node === document.activeElement"):
            break
        page.keyboard.press("Tab")
    else:
        raise AssertionError(f"not reached by Tab: {at}")
    page.keyboard.press("Space" if at.get_attribute("type") in ("radio", "checkbox") else "Enter")


def _key_write(at: Locator, text: str) -> None:
    page = at.page
    for _ in range(150):
        if at.evaluate("node => node === document.activeElement"):
            break
        page.keyboard.press("Tab")
    page.keyboard.insert_text(text)


def _choose(page: Page, at: Locator, text: str, press: Press) -> None:
    """Choose in a list: the browser's own picker, which both touch and keyboard open."""
    if press is _tap:
        at.tap()
        at.select_option(label=text)
        return
    for _ in range(150):
        if at.evaluate("node => node === document.activeElement"):
            break
        page.keyboard.press("Tab")
    page.keyboard.type(text)


@pytest.mark.parametrize("stage", [None], indirect=True)
@pytest.mark.parametrize("how", ["touch", "keyboard"])
def test_from_begin_to_the_signed_log(stage: Staged, open_page: Open, how: str) -> None:
    press, write = (_tap, _touch_write) if how == "touch" else (_key, _key_write)
    page = open_page("/")
    _begin(page, press, write)
    _weigh(page, press, write, "12.4")
    for act in ACTS:
        _to(page, press, "Pit")
        press(page.get_by_role("button", name=f"{act}: brisket-1"))
        settled(page, "brisket-1", press)
    _temp(page, press, write)
    _to(page, press, "Pit")
    press(page.get_by_role("button", name="Finish the cook"))
    settled(page, "finished", press)
    _sign(page, press, write)
    kept = [type(e.body) for e in stage.daemon.engine.state.entries]
    stages = len(ACTS) + 1  # and what became of it at the end
    assert (kept.count(StageSet), kept.count(Weighed), kept.count(SpotRead)) == (stages, 1, 1)
    assert CookFinished in kept


def _to(page: Page, press: Press, screen: str) -> None:
    press(page.locator("nav").get_by_role("link", name=screen, exact=True))
    expect(page.locator("nav [aria-current=page]")).to_have_text(screen)


def _begin(page: Page, press: Press, write: Write) -> None:
    press(page.get_by_role("link", name="Begin a cook"))
    page.wait_for_url("**/begin")
    write(page.get_by_label("Name"), "one sitting")
    pit = page.get_by_role("group", name="pit, reads")
    press(pit.get_by_label("It is in the pit"))
    write(pit.get_by_label("Set point"), "250")
    write(pit.get_by_label("Lowest"), "225")
    write(pit.get_by_label("Highest"), "275")
    _choose(page, page.locator("[name=cut-1]"), "Whole brisket", press)
    write(page.get_by_label("Off the pit at").first, "203")
    press(page.get_by_role("button", name="Begin the cook"))
    page.wait_for_url("**/probes?did=*")
    press(page.get_by_role("button", name="brisket-1/core is in brisket-1"))
    expect(page.locator("#sentence")).to_have_text("Every piece has its probe.")


def _weigh(page: Page, press: Press, write: Write, mass: str) -> None:
    _to(page, press, "Weigh")
    write(page.get_by_role("textbox", name="Mass, in lb"), mass)
    press(page.get_by_role("button", name=f"Keep {mass} lb for brisket-1"))
    expect(page.locator("#told")).to_contain_text("12 lb 6.4 oz")


def _temp(page: Page, press: Press, write: Write) -> None:
    _to(page, press, "Temp")
    press(page.locator("input[name=piece][value=brisket-1]"))
    write(page.get_by_role("textbox", name="Reading, °F"), "201")
    press(page.get_by_role("button", name="Keep 201 °F for brisket-1"))
    expect(page.locator("#told")).to_contain_text("201.0 F by hand")


def _sign(page: Page, press: Press, write: Write) -> None:
    """Answer the limit that a cook of a minute does not meet, then sign."""
    _to(page, press, "Food log")
    rested(page)
    press(page.locator("#corrective summary"))
    write(page.get_by_label("Cause"), "a trial of a minute")
    write(page.get_by_label("How control was restored"), "thrown away")
    write(page.get_by_label("So that it does not happen again"), "cook for longer")
    write(page.get_by_label("Your initials"), "AK")
    press(page.get_by_role("button", name="Write it"))
    expect(page.locator("#told")).to_contain_text("brisket-1")
    rested(page)
    press(page.locator("#signer summary"))
    signer = page.locator("#signer")
    write(signer.get_by_label("Name"), "M. Olsen")
    write(signer.get_by_label("Initials"), "MO")
    write(signer.get_by_label("PIN, four digits or more"), "4711")
    write(signer.get_by_label("Again"), "4711")
    press(page.get_by_role("button", name="Give the PIN"))
    expect(page.locator("#told")).to_contain_text("M. Olsen may sign as MO")
    rested(page)
    write(page.get_by_label("Initials of the reviewer"), "MO")
    write(page.get_by_label("PIN", exact=True), "4711")
    press(page.get_by_role("button", name="Sign the record off"))
    press(page.get_by_role("button", name="sign it as it is"))
    expect(page.locator("#told")).to_contain_text("signed")
