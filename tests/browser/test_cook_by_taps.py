"""A cook from the empty page to the last weight, by taps and typing alone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from pitlogger.model.journal import StageSet, Weighed
from tests.browser.conftest import Open, fall_silent, rested, settled
from tests.browser.staging import Staged


@pytest.mark.parametrize("stage", [None], indirect=True)
def test_a_whole_cook_is_run_by_taps(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _begin(page)
    page.get_by_role("button", name="brisket-1/core is in brisket-1").click()
    expect(page.locator("#sentence")).to_have_text("Every piece has its probe.")
    _assign(page, "bench-scale", "scale", "")
    _weigh(page, "purchased", "11 lb 7.6 oz")
    for act in ("Trim", "Season", "On the pit", "Wrap", "Off the pit"):
        page.goto(stage.address)
        page.get_by_role("button", name=f"{act}: brisket-1").click()
        settled(page, "brisket-1")
        expect(page.get_by_role("button", name=f"{act}: brisket-1")).to_have_count(0)
    stage.scale_g = 3600.0
    _weigh(page, "rested", "7 lb 15 oz")
    page.goto(stage.address)
    page.get_by_role("button", name="Finish the cook").click()
    settled(page, "finished")
    expect(page.get_by_role("link", name="Begin a cook")).to_be_visible()
    kinds = [entry.body for entry in stage.daemon.engine.state.entries]
    assert sum(isinstance(body, StageSet) for body in kinds) == 6
    assert sum(isinstance(body, Weighed) for body in kinds) == 2
    assert stage.daemon.engine.book.finished_ms is not None


def _begin(page: Page) -> None:
    page.get_by_role("link", name="Begin a cook").click()
    page.get_by_label("Name").fill("tap supper")
    page.locator("[name=cut-1]").select_option("brisket-packer")
    fieldset = page.get_by_role("group", name="pit, reads")
    fieldset.get_by_label("It is in the pit").check()
    fieldset.get_by_label("Set point").fill("238")
    page.get_by_role("button", name="Begin the cook").click()
    page.wait_for_url("**/probes?did=*")
    expect(page.locator("#told")).to_contain_text("tap supper has begun")


def _assign(page: Page, channel: str, site: str, piece: str) -> None:
    page.get_by_role("link", name="Set up").first.click()
    page.get_by_role("link", name="Settings").click()
    row = page.locator(f"[id='assign-{channel}']")
    rested(page)
    row.get_by_text("Sits somewhere else now").click()
    row.get_by_label("Site").select_option(label=site)
    if piece:
        row.get_by_label("Piece").select_option(piece)
    row.get_by_role("button", name="Assign").click()
    expect(page.locator("#told")).to_contain_text(channel)


def _weigh(page: Page, checkpoint: str, mass: str) -> None:
    page.locator("nav").get_by_role("link", name="Weigh", exact=True).click()
    expect(page.locator(".scale[data-scale]")).to_contain_text(mass)
    expect(page.locator("[data-scale] [data-part=state]")).to_have_text("steady")
    page.get_by_role("button", name="Keep for brisket-1").click()
    settled(page, f"brisket-1: {mass}")


def test_undo_takes_the_stage_back(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.get_by_role("button", name="Off the pit: brisket-1").click()
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#told")).to_contain_text("taken back")
    assert stage.daemon.engine.book.pieces["brisket-1"].stage == "wrapped"


def test_the_large_keys_type_a_mass(stage: Staged, open_page: Open) -> None:
    page = open_page("/weigh")
    page.locator(".pick", has_text="brisket-1").click()
    page.locator("#type-it > summary").click()
    for key in ("8", "lb", "7", "oz"):
        page.locator("#pad-mass").get_by_role("button", name=key, exact=True).click()
    page.locator("select[name=checkpoint]").select_option("unwrapped")
    page.get_by_role("button", name="Keep 8 lb 7 oz").click()
    expect(page.locator("#told")).to_contain_text("8 lb 7 oz")
    assert stage.daemon.engine.book.pieces["brisket-1"].net_mg("unwrapped") == 3827186


def test_a_prompt_is_answered_and_an_alarm_got(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: fall_silent(stage))
    page = open_page("/alarms")
    page.get_by_role("button", name="Got it, all").click()
    expect(page.locator("article.alarm.unseen:not(.over)")).to_have_count(0)
    expect(page.locator("#strip .waits")).to_have_count(0)
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#strip .waits")).to_have_count(1)


def test_muting_needs_a_reason_and_says_until_when(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: fall_silent(stage))
    page = open_page("/alarms")
    page.get_by_text("Each of the").click()
    first = page.locator("article.alarm.unseen:not(.group)").first
    key = first.get_attribute("id")
    first.get_by_text("Why, and more").click()
    first.get_by_label("Because").fill("changing the battery")
    first.get_by_role("button", name="Mute").click()
    muted = page.locator(f"[id='{key}']")
    expect(muted).to_contain_text("muted until")
    expect(muted).to_contain_text("changing the battery")


def test_a_correction_keeps_the_old_line_struck(stage: Staged, open_page: Open) -> None:
    page = open_page("/weights")
    row = page.locator("tr", has=page.get_by_role("rowheader", name="trimmed")).first
    row.get_by_text("Correct or take back").click()
    row.get_by_label("Right mass").fill("5.3 kg")
    row.get_by_role("button", name="Correct brisket-1, trimmed").click()
    expect(page.locator("#told")).to_contain_text("corrected")
    expect(page.locator("table.struck")).to_contain_text("brisket-1, trimmed")
    assert stage.daemon.engine.book.pieces["brisket-1"].net_mg("trimmed") == 5_300_000
