"""Everybody can read and work it: axe, keyboard, large text, targets, no motion, no script."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, Open, fall_silent
from tests.browser.staging import Staged

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
SCREENS = (
    "/", "/weigh", "/temp", "/piece/brisket-1", "/probes", "/weights", "/alarms", "/more", "/cooks",
    "/food", "/turn-in", "/settings", "/begin", "/print", "/job", "/checks", "/heard",
    "/first", "/join", "/uplink",
    "/plan?guests=45&portion=5oz&cut=brisket-packer&share=60&price=4.29/lb&cut-2=pork-butt&share-2=40",
)  # fmt: skip
# Whatever can be tapped and is smaller than 48 px, or than 72 px where it is a main one.
SMALL = """() => [...document.querySelectorAll(
        'button, a[href]:not(p a), select, textarea, summary, input:not([type=hidden])')]
    .filter(e => e.checkVisibility() && !e.closest('.skip') && !e.matches('p a:not(.button)'))
    .map(e => [e, (e.closest('.tick, .pick') ?? e).getBoundingClientRect()])
    .filter(([e, r]) => r.left >= 0 && (r.height < 47.9 || r.width < 47.9
        || (e.matches('.main, nav a') && r.height < 71.9)))
    .map(([e, r]) => `${e.tagName} ${e.textContent.trim()} ${r.width}x${r.height}`)"""


def axe(page: Page, options: dict[str, Any], within: str = "body") -> list[str]:
    page.add_script_tag(content=AXE) if not page.evaluate("'axe' in window") else None
    options = {**options, "resultTypes": ["violations"]}  # what passes is told by one node a rule
    found = page.evaluate(
        "([within, options]) => axe.run(within, options).then((told) => told.violations)",
        [within, options],
    )
    return [
        f"{v['id']}: {v['nodes'][0]['target']} {v['nodes'][0]['failureSummary']}" for v in found
    ]


@pytest.mark.looks
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_figures_have_contrast_of_seven_to_one(stage: Staged, open_page: Open, scheme: str) -> None:
    page = open_page("/", color_scheme=scheme, bypass_csp=True)
    rule = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]},
            "rules": {"color-contrast-enhanced": {"enabled": True}}}  # fmt: skip
    assert axe(page, rule) == []


@pytest.mark.looks
def test_targets_are_large_enough_for_gloves(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    small = []
    for path in SCREENS:
        page.goto(stage.address + path.lstrip("/"))
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        small += [f"{path} {one}" for one in page.evaluate(SMALL)]
    assert small == []


@pytest.mark.looks
def test_text_at_200_percent_stays_within_the_screen(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    wide = []
    for path in SCREENS:
        page.goto(stage.address + path.lstrip("/"))
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        page.wait_for_timeout(200)
        wide += [f"{path} {one}" for one in too_wide(page)]
    assert wide == []


@pytest.mark.looks
@pytest.mark.parametrize("width", [390, 320])
def test_a_narrow_phone_scrolls_only_down(stage: Staged, open_page: Open, width: int) -> None:
    page = open_page("/", viewport={"width": width, "height": 800})
    wide = []
    for path in SCREENS:
        page.goto(stage.address + path.lstrip("/"))
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.wait_for_timeout(200)
        wide += [f"{path} {one}" for one in too_wide(page)]
    assert wide == []


def too_wide(page: Page) -> list[str]:
    """Return what reaches past the right edge of the screen, outside of what scrolls by itself."""
    found: list[str] = page.evaluate(
        """() => document.documentElement.scrollWidth <= innerWidth + 1 ? [] :
        [...document.querySelectorAll('body *')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.scroll *'))
        .map(e => `${e.tagName}.${e.className} ${e.textContent.trim().slice(0, 40)}`)"""
    )
    return found


@pytest.mark.looks
@pytest.mark.parametrize(("width", "height"), [(360, 780), (360, 640), (390, 844)])
def test_no_key_of_temp_lies_under_the_button(
    stage: Staged, open_page: Open, width: int, height: int
) -> None:
    page = open_page("/temp", viewport={"width": width, "height": height})
    expect(page.locator("#pad-value button").first).to_be_visible()
    under = page.evaluate(
        """() => [...document.querySelectorAll('#pad-value button')].filter((key) => {
            const box = key.getBoundingClientRect(), middle = box.left + box.width / 2;
            return document.elementFromPoint(middle, box.bottom - 3)?.closest('button.main');
        }).map((key) => key.textContent)"""
    )
    assert under == []


def test_a_stage_is_set_by_the_keyboard_alone(stage: Staged, open_page: Open) -> None:
    page = open_page("/", **DESKTOP)
    target = page.get_by_role("button", name="Off the pit: brisket-1")
    for _ in range(60):
        page.keyboard.press("Tab")
        if target.evaluate("node => node === document.activeElement"):
            break
    page.keyboard.press("Enter")
    expect(page.locator("#pieces")).to_contain_text("off the pit, resting")


@pytest.mark.looks
def test_what_has_the_focus_can_be_seen(stage: Staged, open_page: Open) -> None:
    page = open_page("/", **DESKTOP)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert width == "3px"


def test_nothing_moves_where_motion_is_not_wanted(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: fall_silent(stage))
    moving = "document.getAnimations().length"
    page = open_page("/", reduced_motion="no-preference")
    expect(page.locator("#strip .waits")).to_be_visible()
    assert page.evaluate(moving) == 1
    still = open_page("/", reduced_motion="reduce")
    expect(still.locator("#strip .waits")).to_be_visible()
    assert still.evaluate(moving) == 0


def test_without_script_the_first_view_tells_all_and_forms_work(
    stage: Staged, open_page: Open
) -> None:
    page = open_page("/", java_script_enabled=False)
    expect(page.locator("#sentence")).to_contain_text("Fires hold.")
    expect(page.locator(".pit-now [data-part=number]")).not_to_be_empty()
    expect(page.locator(".as-table")).to_contain_text("brisket-2, F")
    page.get_by_role("button", name="Off the pit: brisket-1").click()
    expect(page.locator("#told")).to_contain_text("brisket-1: off the pit, resting.")
    page.locator("#told").get_by_role("button", name="Undo").click()
    assert stage.daemon.engine.book.pieces["brisket-1"].stage == "wrapped"


@pytest.mark.looks
def test_a_landscape_phone_on_a_rail_scrolls_only_down(stage: Staged, open_page: Open) -> None:
    page = open_page("/", viewport={"width": 915, "height": 412})
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 1
