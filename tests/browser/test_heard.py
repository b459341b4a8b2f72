"""An armed phone sounds with its page hidden, and says what it will and will not do tonight."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.conftest import PATIENCE_MS, Open, fall_silent
from tests.browser.staging import Staged

# What the page plays: its alarm's gain over the audio clock, and whether the clock runs on.
LOUD = """() => { const heard = globalThis.__alarm; return heard ? heard.gain.value : 0; }"""
SPY = """
const made = AudioContext.prototype.createGain;
AudioContext.prototype.createGain = function () {
  const gain = made.call(this);
  globalThis.__context = this;
  globalThis.__alarm ??= gain;
  return gain;
};
"""


def _armed(page: Page, stage: Staged) -> None:
    page.add_init_script(SPY)
    page.reload()
    page.get_by_role("button", name="Sound off").click()
    expect(page.get_by_role("button", name="Sound on")).to_be_visible()


def _hide(page: Page) -> None:
    """Put another tab before this one: the browser itself hides the page."""
    page.evaluate(
        "Object.defineProperty(document, 'hidden', {get: () => true, configurable: true});"
        "Object.defineProperty(document, 'visibilityState', {get: () => 'hidden'});"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )


def test_an_alarm_that_comes_while_the_page_is_hidden_is_heard(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/", bypass_csp=True)
    _armed(page, stage)
    assert page.evaluate(LOUD) == 0
    _hide(page)
    stage.call(lambda: fall_silent(stage))
    page.wait_for_function("globalThis.__alarm.gain.value === 1", timeout=PATIENCE_MS)
    first = page.evaluate("globalThis.__context.currentTime")
    page.wait_for_timeout(1500)
    assert page.evaluate("globalThis.__context.currentTime") > first + 1
    assert page.evaluate("globalThis.__context.state") == "running"


def test_seen_stops_the_noise(stage: Staged, open_page: Open) -> None:
    page = open_page("/", bypass_csp=True)
    _armed(page, stage)
    stage.call(lambda: fall_silent(stage))
    page.wait_for_function("globalThis.__alarm.gain.value === 1", timeout=PATIENCE_MS)
    page.goto(f"{stage.address}alarms")
    page.locator("#sentence").click()
    page.get_by_role("button", name="Got it, all").click()
    page.wait_for_function("!globalThis.__alarm || globalThis.__alarm.gain.value === 0")


def test_an_armed_phone_sounds_when_the_link_is_dead(stage: Staged, open_page: Open) -> None:
    page = open_page("/", bypass_csp=True)
    _armed(page, stage)
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    page.wait_for_function("globalThis.__alarm.gain.value === 1", timeout=6_000)


def test_nothing_is_promised_with_the_screen_locked_before_it_was_tried(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/alarms")
    words = page.locator("[data-armed-words]")
    expect(words).to_have_text("Not armed: this phone makes no sound.")
    page.get_by_role("button", name="Arm sound on this phone").click()
    expect(words).to_contain_text("With the screen locked: not tried on this phone.")
    page.clock.install()
    page.get_by_role("button", name="Try it with the screen locked").click()
    expect(words).to_contain_text("Lock the phone now.")
    page.clock.run_for(17_000)
    page.get_by_role("button", name="I heard it").click()
    expect(words).to_contain_text("locked is not tried")
    page.get_by_role("button", name="Try it with the screen locked").click()
    _hide(page)
    page.clock.run_for(17_000)
    page.get_by_role("button", name="I did not").click()
    expect(words).to_contain_text("it did NOT sound")
