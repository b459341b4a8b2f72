"""Pieces part and come together by taps; containers are weighed once and chosen after."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from pitlogger.model.cooks import Stage
from pitlogger.model.journal import SpotRead, StageSet, Weighed
from tests.browser.conftest import Open, rested
from tests.browser.staging import Staged


def _more_of(page: Page, piece: str) -> None:
    page.locator("#pieces").get_by_role("link", name=piece).click()


def test_a_packer_parts_at_its_seam_and_its_probe_goes_along(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/")
    _more_of(page, "brisket-1")
    page.get_by_role("button", name="Split into point and flat: brisket-1").click()
    expect(page.locator("#told")).to_contain_text("brisket-1-point and brisket-1-flat")
    page.goto(f"{stage.address}piece/brisket-1-flat")
    expect(page.locator("#piece")).to_contain_text("from brisket-1")
    page.get_by_role("button", name="brisket-1/core is in brisket-1-flat").click()
    expect(page.locator("#told")).to_contain_text("brisket-1-flat core")
    page.goto(stage.address)
    expect(page.locator("#figures")).to_contain_text("brisket-1-flat")
    assert stage.daemon.engine.book.pieces["brisket-1-flat"].piece.cut == "brisket-flat"


def test_a_split_is_undone_by_one_tap(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _more_of(page, "brisket-1")
    page.get_by_role("button", name="Split into point and flat: brisket-1").click()
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#told")).to_contain_text("taken back")
    assert stage.daemon.engine.book.pieces["brisket-1"].ended_ms is None


def test_the_weights_of_the_parts_stand_behind_the_whole(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _more_of(page, "brisket-1")
    page.get_by_role("button", name="Split into point and flat: brisket-1").click()
    expect(page.locator("#told")).to_contain_text("split into")
    for part, grams in (("point", 1_500), ("flat", 2_450)):
        ask = Weighed(f"brisket-1-{part}", "at-wrap", grams * 1000, 0, stage.clock.engine_ms())
        stage.call(lambda ask=ask: stage.daemon.submit(ask, "AK"))  # type: ignore[misc]
    page.goto(f"{stage.address}weights")
    heads = page.locator("#book h2").all_inner_texts()
    assert [head.split()[0] for head in heads[:3]] == [
        "brisket-1", "brisket-1-point", "brisket-1-flat"
    ]  # fmt: skip
    whole = page.locator("#book section").first
    expect(whole).to_contain_text("split into brisket-1-point and brisket-1-flat")
    expect(whole.locator("table.losses")).to_contain_text("unaccounted")


@pytest.mark.parametrize("stage", [12.0], indirect=True)
def test_pieces_are_pulled_together(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    page.get_by_text("Pull several together").click()
    together = page.locator("#together")
    together.get_by_label("brisket-2").check()
    together.get_by_role("button", name="Pull them together").click()
    expect(together.get_by_role("alert")).to_contain_text("At least 2 are needed, not 1")
    expect(together.get_by_label("brisket-2")).to_be_checked()
    together.get_by_label("butt-1").check()
    together.get_by_role("button", name="Pull them together").click()
    for told in ("brisket-2", "butt-1", "put together as pulled-1"):  # in the order of the screen
        expect(page.locator("#told")).to_contain_text(told)
    page.goto(f"{stage.address}piece/pulled-1")
    either = re.compile("from (brisket-2 and butt-1|butt-1 and brisket-2)")
    expect(page.locator("#piece")).to_contain_text(either)
    page.goto(f"{stage.address}weights")
    expect(page.locator("#book")).to_contain_text("put together as pulled-1")


def test_what_is_ticked_stays_while_others_work(stage: Staged, open_page: Open) -> None:
    page, other = open_page("/"), open_page("/")
    page.get_by_text("Pull several together").click()
    page.locator("#together").get_by_label("brisket-2").check()
    other.get_by_role("button", name="Off the pit: butt-1").click()
    expect(other.locator("#pieces")).to_contain_text("off the pit")
    page.wait_for_timeout(600)
    expect(page.locator("#together").get_by_label("brisket-2")).to_be_checked()


def test_a_container_is_weighed_empty_chosen_and_taken_off(stage: Staged, open_page: Open) -> None:
    stage.scale_g = 640.0
    page = open_page("/weigh")
    expect(page.locator("[data-scale] [data-part=state]")).to_have_text("steady")
    page.get_by_text("Put one on the list").click()
    page.get_by_label("Name").fill("half pan 1")
    page.get_by_role("button", name="Put it on the list").click()
    expect(page.locator("#told")).to_contain_text("half pan 1 is on the list: 1 lb 6.6 oz empty")
    expect(page.locator("[data-part=hint]")).to_contain_text("This looks like half pan 1, empty.")
    page.get_by_text("Zero and pans").click()
    page.get_by_role("button", name="The meat lies in half pan 1").click()
    stage.scale_g = 4745.0
    expect(page.locator("[data-part=net]")).to_have_text("9 lb 0.8 oz")
    expect(page.locator("[data-scale] [data-part=state]")).to_have_text("steady")
    rested(page)
    page.locator(".pick", has_text="brisket-1").click()
    page.get_by_label("Weighed").select_option("unwrapped")
    page.get_by_role("button", name="Keep for brisket-1").click()
    expect(page.locator("#told")).to_contain_text("brisket-1: 9 lb 0.8 oz")
    kept = [e.body for e in stage.daemon.engine.state.entries if isinstance(e.body, Weighed)][-1]
    assert (kept.container, kept.tare_mg) == ("half pan 1", 640_000)
    rested(page)
    page.get_by_role("button", name="Remove half pan 1").click()
    expect(page.locator("#containers")).to_contain_text("None is on the list")


@pytest.mark.parametrize("stage", [12.0], indirect=True)
def test_a_piece_on_the_buffet_is_held_by_time_and_taken_back(
    stage: Staged, open_page: Open
) -> None:
    now_ms = stage.clock.engine_ms()
    for body in (StageSet("butt-1", Stage.SERVING, now_ms), SpotRead(66_000, now_ms, "butt-1")):
        stage.call(lambda body=body: stage.daemon.submit(body, "AK"))  # type: ignore[misc]
    page = open_page("/piece/butt-1")
    form = page.locator("#by-time")
    if not form.is_visible():
        page.get_by_text("By time instead of temperature").click()
    form.get_by_role("button", name="Hold it by time").click()
    asked = page.locator(".asked")
    expect(asked).to_contain_text("thrown away")
    expect(asked).to_contain_text("marked on it")
    assert stage.daemon.engine.book.pieces["butt-1"].by_time is None
    asked.get_by_role("button", name="yes, it is marked").click()
    expect(page.locator("#told")).to_contain_text("held by time")
    page.goto(stage.address)
    expect(page.locator("#pieces")).to_contain_text("discard at")
    page.goto(f"{stage.address}piece/butt-1")
    expect(page.locator("#by-time")).to_have_count(0)
