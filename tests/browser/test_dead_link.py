"""A dead link is seen within five seconds on every screen, and what it struck comes back."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from pitlogger.model.journal import StageSet
from tests.browser.conftest import PATIENCE_MS, PHONE, Open, pairing_cookie
from tests.browser.staging import Staged, staged

SCREENS = ("", "weigh", "temp", "alarms", "food", "weights", "cooks", "settings", "more", "plan",
           "turn-in", "begin", "probes", "piece/brisket-1", "print")  # fmt: skip
REST = ("job", "checks", "heard", "first", "join", "reach", "import", "sales",
        "ahead?piece=brisket-1")  # fmt: skip


def _cut(page: Page, stage: Staged) -> None:
    """Let nothing through any more: neither beats nor answers."""
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    page.route("**/api/v1/stream**", lambda route: route.abort())
    page.context.set_offline(True)


def test_every_screen_says_so_within_five_seconds(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.clock.install()
    page.route("**/api/v1/stream**", lambda route: route.abort())
    for path in SCREENS:
        page.goto(stage.address + path)
        page.clock.run_for(5_000)
        expect(page.locator("#link"), path).to_be_visible()
        expect(page.locator("#link")).to_contain_text("no alarm reaches this phone. Go and look.")
        assert page.title().startswith("OLD · "), path


def test_figures_are_struck_and_ages_count_by_the_phones_clock(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    expect(page.locator(".pit-now [data-part=number]")).not_to_be_empty()
    _cut(page, stage)
    expect(page.locator("#link")).to_be_visible(timeout=5_000)
    expect(page.locator(".pit-now .number")).to_have_css("text-decoration-line", "line-through")
    expect(page.locator("link[rel=icon]")).to_have_attribute("href", re.compile("icon-old"))
    first = page.locator(".row .age").first.inner_text()
    page.wait_for_timeout(1600)
    assert page.locator(".row .age").first.inner_text() != first


def test_a_form_that_answers_with_a_screen_is_held_back_and_keeps_what_was_typed(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/plan")
    page.get_by_label("Guests").fill("77")
    _cut(page, stage)
    expect(page.locator("#link")).to_be_visible(timeout=5_000)
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".refused")).to_contain_text("what stands here stays")
    expect(page.get_by_label("Guests")).to_have_value("77")
    del stage.daemon.fanout.publish
    page.unroute_all()
    page.context.set_offline(False)
    expect(page.locator("#link")).to_be_hidden()
    expect(page.locator(".refused")).to_have_count(0)
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#sentence, .sentence").first).to_contain_text("77 guests")


def test_a_form_is_sent_where_only_the_stream_is_lost(stage: Staged, open_page: Open) -> None:
    page = open_page("/plan")
    page.get_by_label("Guests").fill("77")
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    page.route("**/api/v1/stream**", lambda route: route.abort())
    expect(page.locator("#link")).to_be_visible()
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".sentence").first).to_contain_text("77 guests")


def test_the_bar_goes_and_the_figures_come_back(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    expect(page.locator(".pit-now [data-part=number]")).not_to_be_empty()
    _cut(page, stage)
    expect(page.locator("#link")).to_be_visible(timeout=5_000)
    expect(page.locator(".pit-now .age")).to_contain_text(" old")
    last = page.locator("#link [data-last]").inner_text()
    assert len(last) == 8
    del stage.daemon.fanout.publish
    page.context.set_offline(False)
    page.unroute("**/api/v1/stream**")
    page.get_by_role("button", name="Try now").click()
    expect(page.locator("#link")).to_be_hidden()
    assert not page.title().startswith("OLD")


def test_what_comes_back_from_the_browsers_cache_is_old_until_heard(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    page.goto(f"{stage.address}weigh")
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    page.go_back(wait_until="commit")
    expect(page.locator("#link")).to_be_visible(timeout=5_500)


# By the phone's own steady clock: the last word of the node, and the bar.
TIMES = """
document.addEventListener('pit:heard', () => {
    globalThis.heardAt = performance.now();
    globalThis.lostAt = undefined;
});
document.addEventListener('pit:lost', () => { globalThis.lostAt ??= performance.now(); });
"""


def test_a_killed_daemon_is_seen_on_every_screen(browser: Browser, tmp_path: Path) -> None:
    pages: dict[str, Page] = {}
    with staged(tmp_path, 9.0) as stage:
        for path in (*SCREENS, *REST):  # a phone each
            context = browser.new_context(**PHONE, bypass_csp=True)
            context.add_init_script(TIMES)
            context.add_cookies([pairing_cookie(stage)])
            pages[path] = context.new_page()
            pages[path].goto(stage.address + path)
            pages[path].wait_for_function("globalThis.heardAt")
        for path, page in pages.items():
            assert not page.title().startswith("OLD"), path
    for path, page in pages.items():
        expect(page.locator("#link"), path).to_be_visible(timeout=PATIENCE_MS)
        assert page.title().startswith("OLD · "), path
        assert page.evaluate("lostAt - heardAt") < 5_000, path
        page.context.close()


def test_a_hung_stream_is_a_dead_link(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    expect(page.locator(".pit-now [data-part=number]")).not_to_be_empty()
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    expect(page.locator("#link")).to_be_visible(timeout=5_000)
    del stage.daemon.fanout.publish
    expect(page.locator("#link")).to_be_hidden()


def test_the_phones_own_date_plays_no_part(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.add_init_script("const real = Date.now.bind(Date); Date.now = () => real() - 86_400_000;")
    page.reload()
    before = len(stage.daemon.engine.state.entries)
    page.get_by_role("button", name="Off the pit: brisket-1").click()
    expect(page.locator("#told")).to_contain_text("off the pit")
    mark = stage.daemon.engine.state.entries[before].body
    assert isinstance(mark, StageSet)
    assert mark.at_ms is not None
    assert abs(mark.at_ms - stage.clock.engine_ms()) < 10_000
