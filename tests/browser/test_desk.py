"""Tables of a wide screen: sorted by a tap, filtered by what is typed; a stage at another time."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from pitlogger.inference.recogniser import Sight, StageProposal
from pitlogger.model.alerts import AlertState
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import CookFinished, StageSet
from tests.browser.conftest import DESKTOP, Open
from tests.browser.staging import Staged


async def _silence(stage: Staged) -> None:
    stage.silent = True
    stage.clock.advance(20 * 60_000)
    stage.daemon.tick(stage.clock.engine_ms())


def test_the_table_of_alarms_is_sorted_and_filtered(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: _silence(stage))
    page = open_page("/alarms", **DESKTOP)
    table = page.locator("#standing table")
    subjects = table.locator("tbody tr:visible td:nth-child(2)")
    expect(table).to_be_visible()
    table.get_by_role("button", name="Of").click()
    first = subjects.all_inner_texts()
    assert len(first) > 2
    assert first == sorted(first)
    table.get_by_role("button", name="Of").click()
    assert subjects.all_inner_texts() == first[::-1]
    page.locator("#standing").get_by_label("Show only what has").fill(first[0])
    assert set(subjects.all_inner_texts()) == {first[0]}
    expect(page.locator("#history")).to_be_hidden()
    phone = open_page("/alarms")
    expect(phone.locator("#standing")).to_be_hidden()
    expect(phone.locator("#history")).to_be_visible()


def test_the_table_shows_now_this_cook_or_all(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: _silence(stage))
    page = open_page("/alarms", **DESKTOP)
    chooser = page.locator(".shows")
    expect(chooser.get_by_role("link", name="Now")).to_have_attribute("aria-current", "true")
    lines = page.locator("#history tbody tr")
    for name in ("This cook", "All"):
        chooser.get_by_role("link", name=name).click()
        expect(page.locator("#standing")).to_have_count(0)
        expect(lines.first).to_be_visible()
    of_all = lines.count()

    async def over() -> None:
        await stage.daemon.submit(CookFinished("harvest supper"), "AK")

    stage.call(over)
    page.goto(f"{stage.address}alarms?show=cook")
    expect(page.locator("#history")).to_contain_text("Nothing yet.")
    page.goto(f"{stage.address}alarms?show=all")
    assert lines.count() >= of_all


@pytest.mark.parametrize("how", ["touch", "keyboard"])
def test_a_stage_seen_late_is_set_at_another_time_once(
    stage: Staged, open_page: Open, how: str
) -> None:
    engine, now_ms = stage.daemon.engine, stage.clock.engine_ms()

    async def look() -> None:
        engine.state.sights["brisket-1"] = Sight()
        found = [StageProposal(Stage.RESTING, now_ms - 600_000, 0.94)]
        engine.recognition.proposals["brisket-1"] = found
        engine.alerts.tell(
            "stage-likely", "brisket-1", now_ms, True, "brisket-1: looks off", piece="brisket-1"
        )
        engine.state.watches["stage-likely/brisket-1"].state = AlertState.UNACKNOWLEDGED

    stage.call(look)
    page = open_page("/alarms")
    card = page.locator("[id='alert-stage-likely/brisket-1']")
    card.locator("summary", has_text="Yes, but at another time").click()
    field, button = card.get_by_label("minutes ago"), card.get_by_role("button", name="Set it then")
    field.fill("25")
    before = len(engine.state.entries)
    if how == "touch":
        button.dblclick()  # a drumming finger
    else:
        field.press("Enter")
        page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("off the pit")
    marks = [e.body for e in engine.state.entries[before:] if isinstance(e.body, StageSet)]
    assert len(marks) == 1
    assert marks[0].at_ms is not None
    assert abs(now_ms - marks[0].at_ms - 25 * 60_000) < 60_000


@pytest.mark.parametrize("path", ["/food", "/weights"])
def test_a_printed_screen_has_the_heads_of_its_tables_and_nothing_to_fill_in(
    stage: Staged, open_page: Open, path: str
) -> None:
    page = open_page(path, **DESKTOP)
    head = page.locator("main thead th .sorts").first
    expect(head).to_be_visible()
    page.emulate_media(media="print")
    expect(head).to_be_visible()
    for one in page.locator("main :is(input, select, textarea, summary)").all():
        expect(one).to_be_hidden()


def test_the_words_of_a_row_stand_at_one_height(stage: Staged, open_page: Open) -> None:
    page = open_page(f"/cooks/{stage.daemon.cook}", **DESKTOP)
    expect(page.locator("table.book").first).to_be_visible()
    uneven = page.evaluate(
        """() => [...document.querySelectorAll('table.book tbody tr')].map((row) => {
            const tops = [...row.cells].filter((cell) => cell.textContent.trim()).map((cell) => {
                const range = document.createRange();
                range.selectNodeContents(cell);
                return range.getBoundingClientRect().top;
            });
            return Math.max(...tops) - Math.min(...tops);
        }).filter((apart) => apart > 1)"""
    )
    assert uneven == []
