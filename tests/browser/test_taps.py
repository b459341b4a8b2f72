"""One tap does one thing and nothing typed is lost: wet hands, slow answers, two phones."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, Route, expect

from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, SpotRead, StageSet, Undone, Weighed
from tests.browser.conftest import Open, fall_silent, rested
from tests.browser.staging import Staged

STAGE = "Off the pit: brisket-1"


def _kept(stage: Staged, kind: type, since: int) -> list[object]:
    return [e.body for e in stage.daemon.engine.state.entries[since:] if isinstance(e.body, kind)]


def _middle(page: Page, name: str) -> tuple[float, float]:
    box = page.get_by_role("button", name=name).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


@pytest.mark.parametrize("after_ms", [60, 300, 700, 1200])
def test_a_second_tap_on_the_same_spot_does_nothing(
    stage: Staged, open_page: Open, after_ms: int
) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)
    at = _middle(page, STAGE)
    page.mouse.click(*at)
    page.wait_for_timeout(after_ms)
    page.mouse.click(*at)
    expect(page.locator("#told")).to_contain_text("off the pit")
    page.wait_for_timeout(600)
    assert len(_kept(stage, StageSet, before)) == 1
    assert _kept(stage, Undone, before) == []


def test_a_drumming_finger_keeps_one_mass(stage: Staged, open_page: Open) -> None:
    stage.scale_g = 3900.0
    page = open_page("/weigh")
    expect(page.locator("[data-part=net]").first).to_have_text("8 lb 9.6 oz")
    before = len(stage.daemon.engine.state.entries)
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_label("Weighed").select_option("unwrapped")
    at = _middle(page, "Keep for brisket-1")
    for _ in range(12):
        page.mouse.click(*at)
        page.wait_for_timeout(250)
    page.wait_for_timeout(800)
    assert len(_kept(stage, Weighed, before)) == 1
    assert _kept(stage, Undone, before) == []
    expect(page.locator("#weigh-form button.main")).to_have_text("Kept")
    stage.scale_g = 0.0
    expect(page.locator("[data-part=net]").first).to_have_text("0 oz")
    stage.scale_g = 2215.0
    expect(page.locator("#weigh-form button.main")).to_contain_text("Keep for brisket-1")


def test_a_slow_answer_holds_the_button_where_it_is(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)

    def late(route: Route) -> None:
        page.wait_for_timeout(1200)
        route.continue_()

    page.route("**/do/**", late)
    at = _middle(page, STAGE)
    page.mouse.click(*at)
    expect(page.get_by_role("button", name=STAGE)).to_have_attribute("data-sending", "")
    page.mouse.click(*at)
    expect(page.locator("#told")).to_contain_text("off the pit")
    page.mouse.click(*at)
    page.wait_for_timeout(400)
    assert len(_kept(stage, StageSet, before)) == 1


def test_enter_twice_is_one_action_and_then_undo_has_the_focus(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)
    page.get_by_role("button", name=STAGE).focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    undo = page.locator("#told").get_by_role("button", name="Undo")
    expect(undo).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert len(_kept(stage, StageSet, before)) == 1
    assert _kept(stage, Undone, before) == []
    expect(undo).to_be_enabled()
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("taken back")


def test_undo_is_as_large_as_a_main_action_and_stands_elsewhere(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    tapped = page.get_by_role("button", name=STAGE).bounding_box()
    page.get_by_role("button", name=STAGE).click()
    undo = page.locator("#told").get_by_role("button", name="Undo").bounding_box()
    assert tapped is not None
    assert undo is not None
    assert undo["height"] >= 71
    apart = undo["y"] > tapped["y"] + tapped["height"] or undo["y"] + undo["height"] < tapped["y"]
    assert apart


# What can be tapped where it stands; what of it an outcome came to lie on.
SEEN = """() => { for (const one of document.querySelectorAll('main *, nav a, .top *')) {
    const box = one.getBoundingClientRect(), x = box.left + box.width / 2;
    const on = document.elementFromPoint(x, box.top + box.height / 2);
    if (one.matches('button, a, .pick, select, input, summary') && one.contains(on))
        one.dataset.seen = '';
} }"""
COVERED = """() => [...document.querySelectorAll('[data-seen]')].filter((one) => {
    const box = one.getBoundingClientRect(), x = box.left + box.width / 2;
    return document.elementFromPoint(x, box.top + box.height / 2)?.closest('#told');
}).map((one) => one.outerHTML.slice(0, 80))"""


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640), (1440, 900)])
@pytest.mark.parametrize("down", [0, 300])
def test_the_outcome_lies_on_nothing_that_can_be_tapped(
    stage: Staged, open_page: Open, width: int, height: int, down: int
) -> None:
    stage.scale_g = 3900.0
    page = open_page("/weigh", viewport={"width": width, "height": height})
    expect(page.locator("[data-part=net]").first).to_have_text("8 lb 9.6 oz")
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_label("Weighed").select_option("unwrapped")
    page.evaluate("(down) => scrollTo(0, down)", down)
    keep = page.get_by_role("button", name="Keep for brisket-1")
    expect(keep).to_be_enabled(timeout=15_000)
    keep.scroll_into_view_if_needed()
    page.evaluate(SEEN)
    page.mouse.click(*_middle(page, "Keep for brisket-1"))
    undo = page.locator("#told").get_by_role("button", name="Undo")
    expect(undo).to_be_in_viewport(ratio=1)
    assert page.evaluate(COVERED) == []
    rested(page)
    page.locator(".pick", has_text="brisket-2").click()
    expect(page.locator("input[value=brisket-2]")).to_be_checked()
    undo.click()
    expect(page.locator("#told")).to_contain_text("taken back")


def test_got_it_is_taken_back(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: fall_silent(stage))
    page = open_page("/")
    page.locator("#worst").get_by_role("button", name="Got it, all 4").click()
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#told")).to_contain_text("Not seen after all: 4 of 4.")
    acts = [b.action for b in stage.call(lambda: _acts(stage))]
    assert acts == ["acknowledge"] * 4 + ["unacknowledge"] * 4


async def _acts(stage: Staged) -> list[AlertActed]:
    entries = await stage.daemon.ask(lambda reader: reader.entries(kinds=("alert-acted",)))
    return [entry.body for entry in entries if isinstance(entry.body, AlertActed)]


def test_a_refusal_keeps_what_was_typed_and_marks_the_field(stage: Staged, open_page: Open) -> None:
    page = open_page("/weigh")
    before = len(stage.daemon.engine.state.entries)
    page.locator(".pick", has_text="brisket-2").click()
    page.get_by_label("Weighed").select_option("unwrapped")
    page.locator("#type-it > summary").click()
    field = page.get_by_role("textbox", name="Mass, in lb")
    field.fill("twelve")
    page.get_by_role("button", name="Keep twelve").click()
    expect(field).to_be_focused()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_have_value("twelve")
    expect(page.get_by_label("Weighed")).to_have_value("unwrapped")
    expect(page.locator("#weigh-form [role=alert]")).to_have_text(
        "Not done. 'twelve' is not a mass. Write one such as 13 lb 7 oz."
    )
    assert page.get_by_role("alert").filter(has_text="Not done").count() == 1
    assert page.locator("#weigh-form button.main").is_disabled()
    assert len(stage.daemon.engine.state.entries) == before
    field.fill("8.5")
    page.get_by_role("button", name="Keep 8.5 lb for brisket-2").click()
    expect(page.locator("#told")).to_contain_text("brisket-2: 8 lb 8 oz")
    expect(page.locator("input[value=brisket-2]")).to_be_checked()


def test_a_bare_number_and_a_decimal_comma_are_in_the_phones_units(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/temp")
    page.locator(".pick", has_text="butt-1").click()
    for key in "198":
        page.locator("#pad-value").get_by_role("button", name=key, exact=True).click()
    page.get_by_role("button", name="Keep 198 °F for butt-1").click()
    expect(page.locator("#told")).to_contain_text("198.0 F by hand")
    page.get_by_role("textbox", name="Reading, °F").fill("199,5")
    page.get_by_role("button", name="Keep 199,5 °F for butt-1").click()
    expect(page.locator("#told")).to_contain_text("199.5 F by hand")
    spots = _kept(stage, SpotRead, 0)[-2:]
    assert [round(s.value_mc / 1000, 1) for s in spots] == [92.2, 93.1]  # type: ignore[attr-defined]


def test_a_second_mass_at_a_checkpoint_asks_whether_it_replaces(
    stage: Staged, open_page: Open
) -> None:
    stage.scale_g = 4055.0
    page = open_page("/weigh")
    expect(page.locator("[data-part=net]").first).to_have_text("8 lb 15 oz")
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_label("Weighed").select_option("at-wrap")
    before = stage.daemon.engine.book.pieces["brisket-1"].net_mg("at-wrap")
    page.get_by_role("button", name="Keep for brisket-1").click()
    asked = page.locator(".asked")
    expect(asked).to_contain_text("Is it replaced, or is this a second weighing?")
    assert stage.daemon.engine.book.pieces["brisket-1"].net_mg("at-wrap") == before
    asked.get_by_role("button", name="Replace").click()
    expect(page.locator("#told")).to_contain_text("corrected")
    held = stage.daemon.engine.book.pieces["brisket-1"]
    kept = [w for w in held.weighings if w.weighed.checkpoint == "at-wrap"]
    assert [w.weighed.net_mg for w in kept] == [4_055_000]


def test_an_empty_scale_keeps_nothing(stage: Staged, open_page: Open) -> None:
    stage.scale_g = 0.0
    page = open_page("/weigh")
    before = len(stage.daemon.engine.state.entries)
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_role("button", name="Keep for brisket-1").click()
    expect(page.locator("#weigh-form [role=alert]")).to_contain_text("weighs nothing")
    assert _kept(stage, Weighed, before) == []


def test_two_phones_mark_one_piece_and_the_second_is_told(stage: Staged, open_page: Open) -> None:
    first, second = open_page("/"), open_page("/")
    second.route("**/api/v1/stream**", lambda route: route.abort())
    second.reload()
    before = len(stage.daemon.engine.state.entries)
    first.get_by_role("button", name=STAGE).click()
    expect(first.locator("#told")).to_contain_text("off the pit")
    second.get_by_role("button", name=STAGE).click()
    expect(second.locator("#told")).to_contain_text("AK marked brisket-1 off the pit, resting")
    assert len(_kept(stage, StageSet, before)) == 1


def test_five_actions_of_three_hours_are_sent_in_order_and_the_refused_explained(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    page.context.set_offline(True)
    for name in ("Off the pit: brisket-1", "Off the pit: brisket-2", "Off the pit: butt-1"):
        page.get_by_role("button", name=name).click()
        page.wait_for_timeout(1700)
    expect(page.locator("#unsent li")).to_have_count(3)
    page.get_by_role("button", name="Undo: Off the pit: butt-1").click()
    expect(page.locator("#unsent li")).to_have_count(2)
    now_ms = stage.clock.engine_ms()
    stage.call(lambda: stage.daemon.submit(StageSet("brisket-2", Stage.DISCARDED, now_ms), "MO"))
    page.context.set_offline(False)
    refused = page.locator("#unsent li")
    expect(refused).to_have_count(1, timeout=15_000)
    expect(refused).to_contain_text("brisket-2 is discarded: MO marked it")
    held = stage.daemon.engine.book.pieces
    assert (held["brisket-1"].stage, held["butt-1"].stage) == ("resting", "wrapped")
    page.get_by_role("button", name="Seen: Off the pit: brisket-2").click()
    expect(page.locator("#unsent")).to_be_hidden()


def test_a_question_does_not_push_another_button_under_the_second_tap(
    stage: Staged, open_page: Open
) -> None:
    stage.scale_g = 5100.0
    page = open_page("/weigh", viewport={"width": 390, "height": 780})
    expect(page.locator("[data-part=net]").first).to_have_text("11 lb 3.9 oz")
    page.locator("details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_label("Weighed").select_option("off-pit")
    before = len(stage.daemon.engine.state.entries)
    keep = page.get_by_role("button", name="Keep for brisket-1")
    expect(keep).to_be_enabled()
    keep.evaluate("one => one.scrollIntoView({block: 'center'})")
    at = _middle(page, "Keep for brisket-1")
    page.mouse.click(*at)
    expect(page.locator(".asked")).to_contain_text("more than")
    for _ in range(4):
        page.mouse.click(*at)
        page.wait_for_timeout(300)
    assert len(stage.daemon.engine.state.entries) == before


def test_the_screen_that_follows_a_tap_takes_no_second_one(stage: Staged, open_page: Open) -> None:
    page = open_page("/settings")
    sent: list[str] = []
    page.route("**/units", lambda route: _note(sent, route))
    at = _middle(page, "Use them")
    with page.expect_navigation(wait_until="load"):
        page.mouse.click(*at)
    page.mouse.click(*at)
    expect(page.get_by_role("button", name="Use them")).to_be_enabled()
    page.wait_for_timeout(300)
    assert len(sent) == 1


def test_a_tap_far_from_the_last_one_counts_at_once(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    before = len(stage.daemon.engine.state.entries)
    first, second = _middle(page, STAGE), _middle(page, "Off the pit: brisket-2")
    page.mouse.click(*first)
    page.mouse.click(*second)
    expect(page.locator("#pieces").get_by_text("off the pit, resting")).to_have_count(2)
    assert len(_kept(stage, StageSet, before)) == 2


def test_the_scale_is_not_believed_while_the_node_is_out_of_reach(
    stage: Staged, open_page: Open
) -> None:
    stage.scale_g = 3900.0
    page = open_page("/weigh")
    expect(page.locator("[data-part=net]").first).to_have_text("8 lb 9.6 oz")
    page.locator(".pick", has_text="brisket-1").click()
    expect(page.get_by_role("button", name="Keep for brisket-1")).to_be_enabled()
    stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
    expect(page.locator("#link")).to_be_visible(timeout=5_000)
    before = len(stage.daemon.engine.state.entries)
    page.get_by_role("button", name="Keep for brisket-1").click()
    expect(page.locator("#weigh-form [role=alert]")).to_contain_text("The scale is not heard")
    expect(page.locator("#unsent")).to_be_hidden()
    assert len(stage.daemon.engine.state.entries) == before
    del stage.daemon.fanout.publish
    expect(page.locator("#link")).to_be_hidden()
    expect(page.locator("#weigh-form [role=alert]")).to_have_count(0)


def _note(sent: list[str], route: Route) -> None:
    """Let a request through and remember it."""
    sent.append(route.request.url)
    route.continue_()
