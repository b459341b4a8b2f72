"""Hostile names, two tabs, the back button, a reload in the middle of an action."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect

from pitlogger.model.journal import Noted, StageSet
from pitlogger.node.containers import keep
from tests.browser.conftest import Open
from tests.browser.staging import Staged
from tests.browser.test_reach import too_wide

STAGE = "Off the pit: brisket-1"
MARKUP = '"><img src=x onerror="globalThis.struck=1"><script>globalThis.struck=1</script>'
UNBROKEN = "Fleischwanne" * 25
LONG = "brisket-of-the-harvest-supper-" * 10  # 300 characters without a break
RIGHT_TO_LEFT = "بريسكت العشاء \u202e gnirac"
EMOJI = "🔥🐄 rind 👩🏽‍🍳"


@pytest.mark.parametrize("text", [MARKUP, LONG, UNBROKEN, RIGHT_TO_LEFT, EMOJI])
def test_what_people_write_is_text_and_stays_within_the_screen(
    stage: Staged, open_page: Open, text: str
) -> None:
    stage.call(lambda: stage.daemon.submit(Noted(text, "brisket-1"), "AK"))
    keep(stage.daemon, text[:60], 812_000, "AK")
    page = open_page("/food", viewport={"width": 360, "height": 780})
    for path in ("/food", "/", "/piece/brisket-1", "/weigh"):
        page.goto(stage.address + path.lstrip("/"))
        page.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
        assert too_wide(page) == [], path
    assert page.evaluate("globalThis.struck") is None


@pytest.mark.parametrize("stage", [None], indirect=True)
@pytest.mark.parametrize("name", [MARKUP[:60], LONG[:60], RIGHT_TO_LEFT, EMOJI])
def test_a_cook_may_be_called_anything(stage: Staged, open_page: Open, name: str) -> None:
    page = open_page("/begin", viewport={"width": 360, "height": 780})
    page.get_by_label("Name").fill(name)
    page.locator("[name=cut-1]").select_option("brisket-packer")
    page.get_by_role("button", name="Begin the cook").click()
    page.wait_for_url("**/probes*")
    for path in ("/", "/weigh", "/temp", "/food", "/probes", "/settings"):
        page.goto(stage.address + path.lstrip("/"))
        assert too_wide(page) == [], path
    assert page.evaluate("globalThis.struck") is None


def test_a_reload_in_the_middle_of_an_action_does_it_once(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)
    held: list[Route] = []
    page.route("**/do/**", lambda route: _hold(held, route))
    page.get_by_role("button", name=STAGE).click()
    page.wait_for_timeout(300)
    assert len(held) == 1
    page.unroute("**/do/**")
    page.reload()
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting", timeout=15_000)
    expect(page.locator("#unsent")).to_be_hidden(timeout=15_000)
    assert _stages(stage, before) == 1


def test_back_after_an_action_shows_what_is_and_does_nothing_again(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/weigh")
    before = len(stage.daemon.engine.state.entries)
    page.goto(stage.address)
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#told")).to_contain_text("off the pit")
    page.get_by_role("link", name="Weigh").click()
    page.wait_for_url("**/weigh")
    page.go_back()
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")
    expect(page.get_by_role("button", name=STAGE)).to_have_count(0)
    assert _stages(stage, before) == 1


def test_two_tabs_send_what_waits_once(stage: Staged, open_page: Open) -> None:
    first = open_page("/")
    second = first.context.new_page()
    second.goto(stage.address)
    before = len(stage.daemon.engine.state.entries)
    first.context.set_offline(True)
    first.get_by_role("button", name=STAGE).click()
    expect(first.locator("#unsent li")).to_have_count(1)
    first.context.set_offline(False)
    for page in (first, second):
        expect(page.locator("#unsent")).to_be_hidden(timeout=15_000)
        expect(page.locator("#pieces")).to_contain_text("off the pit, resting")
    assert _stages(stage, before) == 1


def _stages(stage: Staged, since: int) -> int:
    kept = stage.daemon.engine.state.entries[since:]
    return sum(isinstance(entry.body, StageSet) for entry in kept)


def _away(page: Page, hours: float) -> None:
    """Let the phone sleep: its date goes on, the page's own count stands still."""
    page.evaluate(
        "(ms) => { const real = Date.now.bind(Date); Date.now = () => real() + ms; }",
        hours * 3_600_000,
    )


def test_a_phone_that_slept_out_of_reach_keeps_the_time_of_each_tap(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)
    page.context.set_offline(True)
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    expect(page.locator("#link [data-for]")).to_contain_text("s")  # nothing is on its way any more
    began_ms = stage.clock.engine_ms()
    stage.let_pass(2 * 3_600_000)
    _away(page, 2)
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#unsent li")).to_have_count(1, timeout=10_000)
    expect(page.locator("#link [data-for]")).to_contain_text("2 h")
    stage.let_pass(3_600_000)
    _away(page, 1)
    page.context.set_offline(False)
    del stage.daemon.fanout.publish
    expect(page.locator("#unsent")).to_be_hidden(timeout=15_000)
    made = [e.body for e in stage.daemon.engine.state.entries[before:]]
    mark = next(body for body in made if isinstance(body, StageSet))
    assert mark.at_ms is not None
    assert abs(mark.at_ms - began_ms - 2 * 3_600_000) < 60_000


def _hold(held: list[Route], route: Route) -> None:
    """Answer nothing for now."""
    held.append(route)


def test_a_language_that_is_none_takes_neither_chart_nor_keys_away(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/settings")
    page.add_init_script(
        "Object.defineProperty(Navigator.prototype, 'language', { get: () => 'C' });"
        "Object.defineProperty(Navigator.prototype, 'languages', { get: () => ['C'] })"
    )
    page.goto(stage.address)
    expect(page.locator("#joined canvas").first).to_be_visible(timeout=15_000)
    page.goto(f"{stage.address}temp")
    expect(page.locator("#pad-value button").first).to_be_visible()
    expect(page.locator("#pad-value button", has_text=".")).to_be_visible()
