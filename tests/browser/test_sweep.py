"""Every screen on a full night: six pieces, sixteen channels, alarms; three widths, both schemes.

axe finds nothing, nothing reaches past the screen, no word is cut off; the same in the
pseudo-locale (accented, two fifths longer) and written from right to left.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from pitlogger.views.language import speaking
from tests.browser import full_house
from tests.browser.conftest import pairing_cookie
from tests.browser.staging import Staged, staged
from tests.browser.test_reach import SCREENS, axe, too_wide

MORE = ("/ahead?piece=brisket-1", "/sales", "/import", "/reach", "/plan", "/food")
WIDTHS = {360: 780, 390: 844, 1440: 900}
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
# A box that hides what does not fit into it. The strip shows two lines of its alarm and opens
# the rest; a field scrolls within itself, and so does what says so.
CUT = """() => [...document.querySelectorAll('body *')].filter((e) => {
    if (!e.checkVisibility() || e.closest('.strip, .scroll, svg, #unsent, .told')) return false;
    for (let n = e; n; n = n.parentElement) {
        if (getComputedStyle(n).clipPath !== 'none') return false;
    }
    if (e.matches('button, .button, .pick, td, th, label, summary, p, nav a, h2, option')) {
        const parent = e.parentElement.getBoundingClientRect(), own = e.getBoundingClientRect();
        if (own.right > parent.right + 2 || own.left < parent.left - 2) return true;
    }
    return e.childElementCount === 0 && e.textContent.trim() && !e.matches('textarea, select')
        && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== 'visible';
}).map((e) => `${e.tagName}.${e.className} ${e.textContent.trim().slice(0, 40)}`)"""

# The solid ground of an action: at most one a screen, with all that is folded open.
SOLID = """() => {
    const petrol = getComputedStyle(document.documentElement).getPropertyValue('--action').trim();
    const probe = document.body.appendChild(document.createElement('i'));
    probe.style.background = petrol;
    const wanted = getComputedStyle(probe).backgroundColor;
    probe.remove();
    return [...document.querySelectorAll('main button, main .button')]
        .filter((e) => e.checkVisibility() && getComputedStyle(e).backgroundColor === wanted)
        .map((e) => e.textContent.trim());
}"""
# What the tabs of a phone hide at the end of a screen.
UNDER = """() => {
    scrollTo(0, document.documentElement.scrollHeight);
    const tabs = document.querySelector('nav.screens').getBoundingClientRect();
    if (tabs.width < innerWidth) return [];
    return [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility()
        && e.childElementCount === 0 && e.getBoundingClientRect().bottom > tabs.top + 1)
        .map((e) => `${e.tagName} ${e.textContent.trim().slice(0, 40)}`);
}"""
COMMAND = re.compile(r"pitlogger (?!is\b)[a-z]+|\bsudo \S+|(?<!\S)--[a-z]+|\S+\.(?:toml|py|md)\b")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staged]:
    folder: Path = tmp_path_factory.mktemp("house")
    with staged(folder, full_house.HOUR, scene=full_house) as made:
        yield made


def _open(browser: Browser, house: Staged, width: int, scheme: str = "light") -> Page:
    context = browser.new_context(
        viewport={"width": width, "height": WIDTHS[width]}, has_touch=width < 1000,
        color_scheme="dark" if scheme == "dark" else "light", bypass_csp=True,
    )  # fmt: skip
    context.add_cookies([pairing_cookie(house)])
    return context.new_page()


def _faults(page: Page, path: str) -> list[str]:
    solid = page.evaluate(SOLID)
    more = [f"{path} several solid buttons: {solid}"] if len(solid) > 1 else []
    more += [f"{path} under the tabs: {one}" for one in page.evaluate(UNDER)]
    commands = COMMAND.findall(page.locator("body").inner_text())
    return [
        *more,
        *(f"{path} wide: {one}" for one in too_wide(page)),
        *(f"{path} cut: {one}" for one in page.evaluate(CUT)),
        *(f"{path} says a command: {one}" for one in commands),
    ]


def _unfold(page: Page, house: Staged, path: str, width: int) -> None:
    """Open a screen with all that is folded in it, as tall as it is."""
    page.set_viewport_size({"width": width, "height": WIDTHS[width]})
    page.goto(house.address + path.lstrip("/"))
    if page.locator("#joined").count():  # it makes the screen taller when it comes
        page.locator("#joined canvas").first.wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    whole = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": width, "height": whole})


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_no_screen_breaks_a_rule_or_is_cut(
    house: Staged, browser: Browser, width: int, scheme: str
) -> None:
    page = _open(browser, house, width, scheme)
    faults = []
    for path in (*SCREENS, *MORE):
        _unfold(page, house, path, width)
        options = {"runOnly": {"type": "tag", "values": WCAG}}
        faults += [f"{path} {fault}" for fault in axe(page, options)] + _faults(page, path)
    page.context.close()
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_off_in_the_pseudo_locale(
    house: Staged, browser: Browser, width: int
) -> None:
    page = _open(browser, house, width)
    faults = []
    with speaking("en-XA"):
        for path in (*SCREENS, *MORE):
            _unfold(page, house, path, width)
            faults += _faults(page, path)
    page.context.close()
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("width", [360, 1440])
def test_a_language_from_right_to_left_breaks_nothing(
    house: Staged, browser: Browser, width: int
) -> None:
    page = _open(browser, house, width)
    page.add_init_script(
        "addEventListener('DOMContentLoaded', () => document.documentElement.dir = 'rtl')"
    )
    faults = []
    for path in (*SCREENS, *MORE):
        _unfold(page, house, path, width)
        beyond = page.evaluate(
            "() => [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility()"
            " && !e.closest('.scroll *, svg *') && getComputedStyle(e).clipPath === 'none'"
            " && e.getBoundingClientRect().left < -1)"
            ".map((e) => `${e.tagName}.${e.className} ${e.textContent.trim().slice(0, 40)}`)"
        )
        faults += [f"{path}: {one}" for one in beyond] + _faults(page, path)
    page.context.close()
    assert not faults, "\n".join(faults)
