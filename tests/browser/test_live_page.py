"""The page stays true: live figures, two phones, a reload, a lost network, double taps."""

from __future__ import annotations

from playwright.sync_api import Route, expect

from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookFinished, Noted, StageSet
from tests.browser.conftest import DESKTOP, Open
from tests.browser.staging import Staged

STAGE = "Off the pit: brisket-1"


def _stages(stage: Staged) -> int:
    entries = stage.daemon.engine.state.entries
    return sum(isinstance(e.body, StageSet) and e.body.stage == "resting" for e in entries)


def test_figures_follow_the_readings_without_a_reload(stage: Staged, open_page: Open) -> None:
    page = open_page("/weigh")
    expect(page.locator("[data-part=net]").first).to_have_text("11 lb 7.6 oz")
    stage.scale_g = 4105.0
    expect(page.locator("[data-part=net]").first).to_have_text("9 lb 0.8 oz")


def test_two_clients_agree(stage: Staged, open_page: Open) -> None:
    phone, desk = open_page("/"), open_page("/", **DESKTOP)
    phone.get_by_role("button", name=STAGE).click()
    expect(desk.get_by_role("button", name=STAGE)).to_have_count(0)
    expect(desk.locator("#pieces")).to_contain_text("off the pit, resting")


def test_a_reload_shows_the_same(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")
    page.reload()
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")


def test_what_is_tapped_without_network_is_shown_and_sent_later_once(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    expect(page.locator("#figures")).to_contain_text("ago")
    page.context.set_offline(True)
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#unsent")).to_contain_text(STAGE)
    assert _stages(stage) == 0
    page.context.set_offline(False)
    expect(page.locator("#unsent")).to_be_hidden(timeout=15_000)
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")
    assert _stages(stage) == 1


def test_what_waits_survives_a_reload(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.route("**/do/**", lambda route: route.abort())
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#unsent")).to_contain_text("Not sent yet")
    page.reload()
    expect(page.locator("#unsent")).to_contain_text("Not sent yet")
    page.unroute("**/do/**")
    expect(page.locator("#unsent")).to_be_hidden()
    assert _stages(stage) == 1


def test_an_answer_that_is_lost_does_not_double_the_action(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    lost: list[int] = []

    def lose_first(route: object) -> None:
        if lost:
            route.continue_()  # type: ignore[attr-defined]
            return
        lost.append(1)
        route.fetch()  # type: ignore[attr-defined]
        route.abort()  # type: ignore[attr-defined]

    page.route("**/do/**", lose_first)
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#told")).to_contain_text("off the pit")
    assert lost == [1]
    assert _stages(stage) == 1


def test_a_double_tap_is_one_action(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.get_by_role("button", name=STAGE).dblclick()
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")
    page.wait_for_timeout(500)
    assert _stages(stage) == 1


def test_a_gap_is_replayed_from_the_last_id(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    expect(page.locator("#figures")).to_contain_text("ago")
    first = stage.daemon.engine.state.entries[0]
    script = """async (after) => {
        const answer = await fetch(`/api/v1/stream?after=${after}`);
        const reader = answer.body.getReader();
        let text = "";
        const decoder = new TextDecoder();
        while (!text.includes("event: entry")) text += decoder.decode((await reader.read()).value);
        await reader.cancel();
        return text;
    }"""
    text = page.evaluate(script, f"{first.run}/{first.seq}")
    assert f"id: {first.run}/{first.seq + 1}\n" in text


def test_a_stale_page_acting_on_a_finished_cook_is_told_so(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.route("**/api/v1/stream**", lambda route: route.abort())
    page.reload()
    stage.call(lambda: stage.daemon.submit(CookFinished("harvest supper"), "MO"))
    page.get_by_role("button", name=STAGE).click()
    expect(page.locator("#told")).to_contain_text("No cook is running")


def test_a_slow_screen_is_asked_for_once_at_a_time_and_ends_as_things_are(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    expect(page.locator("#figures")).to_contain_text("ago")
    page.wait_for_timeout(5000)  # a screen that has just come is asked for again once
    held: list[Route] = []

    def hold(route: Route) -> None:
        held.append(route)

    page.route(stage.address, hold)
    for _ in range(4):
        stage.call(lambda: stage.daemon.submit(Noted("looked", "brisket-1"), "AK"))
        page.wait_for_timeout(400)
    stage.call(lambda: stage.daemon.submit(_off_the_pit(stage), "AK"))
    page.wait_for_timeout(600)
    assert len(held) == 1
    held[0].continue_()
    page.route(stage.address, lambda route: route.continue_())
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")


def _off_the_pit(stage: Staged) -> StageSet:
    return StageSet("brisket-1", Stage.RESTING, stage.clock.engine_ms())


def test_a_silent_probe_is_struck_through_with_its_age(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    stage.silent = True
    stage.call(lambda: _wait(stage))
    figure = page.locator(".row[data-figure='brisket-1/core']")
    expect(figure).to_have_attribute("data-quality", "old")
    expect(figure).to_contain_text("1 min ago")


async def _wait(stage: Staged) -> None:
    stage.clock.advance(60_000)


def test_units_are_a_choice_of_this_phone(stage: Staged, open_page: Open) -> None:
    page = open_page("/settings")
    page.get_by_label("Temperature").select_option("C")
    page.get_by_label("Mass").select_option("kg")
    page.get_by_role("button", name="Use them").click()
    page.goto(stage.address)
    expect(page.locator(".figure[data-figure=pit] [data-part=unit]")).to_have_text("C")
    page.goto(f"{stage.address}weigh")
    expect(page.locator("[data-part=net]").first).to_have_text("5.205 kg")
    other = open_page("/")
    expect(other.locator(".figure[data-figure=pit] [data-part=unit]")).to_have_text("F")


def test_sound_once_armed_goes_along_from_screen_to_screen(stage: Staged, open_page: Open) -> None:
    page = open_page("/alarms")
    page.get_by_role("button", name="Arm sound on this phone").click()
    expect(page.locator("[data-armed-words]")).to_contain_text("Armed: this phone sounds")
    page.goto(f"{stage.address}turn-in")
    page.locator("#sentence").click()
    expect(page.locator("[data-armed-words]")).to_contain_text("Armed: this phone sounds")
    page.get_by_role("button", name="Silence this phone").click()
    page.goto(f"{stage.address}alarms")
    expect(page.locator("[data-armed-words]")).to_contain_text("Not armed")
