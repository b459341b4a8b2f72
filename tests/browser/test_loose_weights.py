"""Weighing without a cook: kept, dropped by mistake, given to a piece, taken back."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from pitlogger.model.journal import CookStarted, CookWithdrawn, Undone, Weighed
from pitlogger.web.loose_weights import loose_weights
from tests.browser.conftest import Open, settled
from tests.browser.staging import Staged

NO_COOK = pytest.mark.parametrize("stage", [None], indirect=True)


def _keep(page: Page, mass: str, note: str) -> None:
    if page.locator("#type-it[open]").count() == 0:
        page.locator("#type-it summary").first.click()
    page.get_by_role("textbox", name="Mass, in lb").fill(mass)
    page.get_by_label("What it is").fill(note)
    page.get_by_role("button", name="Keep for later").click()


@NO_COOK
def test_a_weight_without_a_cook_goes_to_a_piece_of_the_next(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/weigh")
    _keep(page, "0", "<b>nothing</b>")
    expect(page.locator(".refused")).to_contain_text("weighs nothing")
    expect(page.get_by_label("What it is")).to_have_value("<b>nothing</b>")
    page.get_by_role("textbox", name="Mass, in lb").fill("13,2")
    page.get_by_role("button", name="Keep for later").click()
    expect(page.locator("#told")).to_contain_text("kept for later")
    expect(page.locator("#loose summary")).to_contain_text("<b>nothing</b>")
    assert [round(one.net_mg / 453_592) for one in loose_weights(stage.daemon).values()] == [13]

    stage.start_cook(0.2)
    before = len(stage.daemon.engine.state.entries)
    page.goto(stage.address + "weigh")
    page.locator("#loose details summary").click()
    page.locator("#loose").get_by_label("Piece").select_option("brisket-1")
    page.locator("#loose").get_by_label("Weighed").select_option("trimmed")
    page.get_by_role("button", name="Give it to the piece").click()
    settled(page, "brisket-1")
    kept = [e.body for e in stage.daemon.engine.state.entries[before:]]
    assert [one.checkpoint for one in kept if isinstance(one, Weighed)] == ["trimmed"]
    assert loose_weights(stage.daemon) == {}
    page.wait_for_timeout(1600)
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#told")).to_contain_text("on the list again")
    assert any(isinstance(e.body, Undone) for e in stage.daemon.engine.state.entries[before:])
    assert len(loose_weights(stage.daemon)) == 1


@NO_COOK
def test_a_cook_begun_by_mistake_is_taken_back(stage: Staged, open_page: Open) -> None:
    page = open_page("/begin")
    page.locator("#begin-form [name=name]").fill("עוף ב-🔥 <i>x</i>")
    page.locator("#begin-form [name=cut-1]").select_option("brisket-flat")
    page.get_by_role("button", name="Begin").last.click()
    page.wait_for_url("**/probes?did=*")
    page.wait_for_timeout(1600)
    page.locator("#told").get_by_role("button", name="Undo").click()
    expect(page.locator("#told")).to_contain_text("not begun after all")
    kinds = [type(e.body) for e in stage.daemon.engine.state.entries]
    assert CookStarted in kinds or CookWithdrawn in kinds
    assert stage.daemon.cook is None
