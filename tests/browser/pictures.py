"""Pictures of each screen from a made-up cook, for the docs and for looking at.

python -m tests.browser.pictures [folder]     docs/pictures by default
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright

from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import CookFinished, CookStarted, Weighed
from pitlogger.node.containers import keep
from tests.browser.conftest import ARGS, chromium, pairing_cookie
from tests.browser.staging import Staged, staged

FOLDER = Path("docs/pictures")
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1440, "height": 900}}
PLAN = (
    "/plan?guests=45&portion=5oz&cut=brisket-packer&share=60&price=4.29/lb"
    "&cut-2=pork-butt&share-2=40&price-2=2.19/lb&serve_at=2026-09-19T18:00&target=30"
)
# Name, path, colour schemes.
SCREENS = (
    ("pit", "/", ("light", "dark")),
    ("weigh", "/weigh", ("light", "dark")),
    ("temp", "/temp", ("light", "dark")),
    ("piece", "/piece/brisket-1", ("light",)),
    ("weights", "/weights", ("light", "dark")),
    ("alarms", "/alarms", ("light", "dark")),
    ("plan", PLAN, ("light", "dark")),
    ("past-cooks", "/cooks", ("light", "dark")),
    ("food-log", "/food", ("light", "dark")),
    ("print", "/print", ("light", "dark")),
    ("turn-in", "/turn-in", ("light", "dark")),
    ("settings", "/settings", ("light", "dark")),
    ("more", "/more", ("light",)),
)
DESKTOP_SCREENS = (
    ("pit", "/", ("light", "dark")),
    ("weights", "/weights", ("light",)),
    ("alarms", "/alarms", ("light",)),
    ("plan", PLAN, ("light",)),
    ("food-log", "/food", ("light",)),
)
PAST = """
[cook]
name = "{name}"
guests = 30
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
wrap = "{wrap}"
supplier = "{supplier}"
"""
WAY = '[[notify.way]]\nid = "phone"\nkind = "command"\nargv = ["true"]\n'
PAST_COOKS = 7
TALLEST = 2600


def main(folder: Path) -> None:
    """Make all pictures."""
    path = chromium()
    if path is None:
        raise SystemExit("no Chromium on this system: apt-get install chromium")
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as data,
        staged(Path(data), None, WAY) as stage,
        sync_playwright() as playwright,
    ):
        stage.call(lambda: past_cooks(stage))
        for name, grams in (("board", 905), ("half pan 1", 412), ("half pan 2", 418)):
            keep(stage.daemon, name, grams * 1000, "AK")
        stage.start_cook(11.0)
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        for scheme in ("light", "dark"):
            _phone_pictures(browser, stage, folder, scheme)
        _desktop_pictures(browser, stage, folder)
        _alarm_picture(browser, stage, folder)
        browser.close()


async def past_cooks(stage: Staged) -> None:
    """Put some finished cooks on record, with yields that differ as yields do."""
    chance = random.Random(4)
    for number in range(PAST_COOKS):
        text = PAST.format(
            name=f"supper {number + 1}",
            wrap=("paper", "foil")[number % 2],
            supplier=("valley meats", "hill farm")[number % 3 == 0],
        )
        submit, clock = stage.daemon.submit, stage.clock
        await submit(CookStarted(parse_cook(text)), "AK")
        bought = chance.gauss(6300, 300)
        trimmed = bought * chance.gauss(0.81, 0.02)
        for checkpoint, mass_g in (
            ("purchased", bought),
            ("trimmed", trimmed),
            ("at-wrap", trimmed * 0.78),
            ("rested", trimmed * chance.gauss(0.66, 0.02)),
            ("carved", trimmed * chance.gauss(0.615, 0.025)),
        ):
            clock.advance(3 * 3_600_000)
            mass_mg = round(mass_g / 5) * 5000
            await submit(Weighed("brisket-1", checkpoint, mass_mg, 0, clock.engine_ms()), "AK")
        await submit(CookFinished(f"supper {number + 1}"), "AK")
        clock.advance(6 * 86_400_000)
        stage.daemon.tick(clock.engine_ms())


def _page(browser: Browser, stage: Staged, **settings: Any) -> Page:
    context = browser.new_context(**settings)
    context.add_cookies([pairing_cookie(stage)])
    return context.new_page()


def _phone_pictures(browser: Browser, stage: Staged, folder: Path, scheme: str) -> None:
    page = _page(browser, stage, **PHONE, color_scheme=scheme)
    for name, path, schemes in SCREENS:
        if scheme in schemes:
            _go(page, stage, path)
            _fit(page)
            page.screenshot(path=folder / f"page-{name}-{scheme}.png")
            page.set_viewport_size(PHONE["viewport"])
    page.context.close()


def _go(page: Page, stage: Staged, path: str) -> None:
    page.goto(stage.address + path.lstrip("/"))
    if page.locator("#joined").count():
        page.wait_for_selector("#joined canvas")
    page.wait_for_timeout(1200)


def _fit(page: Page) -> None:
    """Make the screen as tall as what it holds, so that nothing lies under the navigation."""
    tall = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": 390, "height": min(max(844, tall), TALLEST)})
    page.wait_for_timeout(300)


def _desktop_pictures(browser: Browser, stage: Staged, folder: Path) -> None:
    for name, path, schemes in DESKTOP_SCREENS:
        for scheme in schemes:
            page = _page(browser, stage, **DESKTOP, color_scheme=scheme)
            _go(page, stage, path)
            tail = "" if scheme == "light" else f"-{scheme}"
            page.screenshot(path=folder / f"page-{name}-desktop{tail}.png")
            page.context.close()


def _alarm_picture(browser: Browser, stage: Staged, folder: Path) -> None:
    """The home screen as the first look shows it, while the probes are silent."""
    stage.silent = True

    async def wait() -> None:
        stage.clock.advance(20 * 60_000)
        stage.daemon.tick(stage.clock.engine_ms())

    stage.call(wait)
    for scheme in ("light", "dark"):
        page = _page(browser, stage, **PHONE, color_scheme=scheme)
        _go(page, stage, "/")
        page.screenshot(path=folder / f"page-alarm-{scheme}.png")
        page.context.close()
    for scheme in ("light", "dark"):
        page = _page(browser, stage, **PHONE, color_scheme=scheme)
        _go(page, stage, "/")
        stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
        page.wait_for_selector("#link:not([hidden])")
        page.screenshot(path=folder / f"page-old-{scheme}.png")
        del stage.daemon.fanout.publish
        page.context.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
