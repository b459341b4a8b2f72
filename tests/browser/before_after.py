"""Each screen of two versions side by side: three widths, two schemes, one sheet a screen.

python -m tests.browser.before_after take FOLDER        in the tree of each version; this file is
                                                        copied into the older one
python -m tests.browser.before_after join BEFORE AFTER docs/pictures/before-after
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from tests.browser.conftest import ARGS, chromium, pairing_cookie
from tests.browser.pictures import PLAN, WAY, past_cooks
from tests.browser.staging import Staged, staged

SCREENS = {
    "pit": "", "weigh": "weigh", "temp": "temp", "alarms": "alarms", "food-log": "food",
    "weights": "weights", "past-cooks": "cooks", "plan": PLAN.lstrip("/"), "print": "print",
    "turn-in": "turn-in", "settings": "settings", "more": "more", "begin": "begin",
}  # fmt: skip
WIDTHS = {360: 780, 390: 844, 1440: 900}
SCHEMES = ("light", "dark")
SCALE = 0.6  # of a sheet: small enough to be looked at as a whole


def take(folder: Path, browser: Browser, stage: Staged) -> None:
    """Take the first view of each screen, with a silent probe's alarms as the night has them."""
    for width, height in WIDTHS.items():
        for scheme in SCHEMES:
            context = browser.new_context(
                viewport={"width": width, "height": height}, has_touch=width < 1000,
                color_scheme="dark" if scheme == "dark" else "light",
            )  # fmt: skip
            context.add_cookies([pairing_cookie(stage)])
            page = context.new_page()
            for name, path in SCREENS.items():
                answer = page.goto(stage.address + path)
                if answer is None or answer.status != 200:
                    continue  # the older version has no such screen
                page.wait_for_timeout(1500)
                page.screenshot(path=folder / f"{name}-{width}-{scheme}.png")
            context.close()


def join(before: Path, after: Path, out: Path, browser: Browser) -> None:
    """Put the pictures of each screen on one sheet: before above, after below."""
    for name in SCREENS:
        rows = "".join(
            f"<h1>{name}, {word}</h1><p>{_images(folder, name)}</p>"
            for word, folder in (("before", before), ("after", after))
        )
        page = browser.new_page(viewport={"width": 2720, "height": 900})
        style = (
            "body{font:28px system-ui;margin:16px;background:#888}p{white-space:nowrap;margin:0}"
        )
        style += f"img{{vertical-align:top;margin-right:12px;zoom:{SCALE}}}h1{{font-size:28px}}"
        sheet = before / f"{name}.html"
        sheet.write_text(f"<meta charset=utf-8><style>{style}</style>{rows}", encoding="utf-8")
        page.goto(sheet.as_uri())
        page.screenshot(path=out / f"{name}.png", full_page=True)
        page.close()
        sheet.unlink()


def _images(folder: Path, name: str) -> str:
    found = [folder / f"{name}-{width}-{scheme}.png" for width in WIDTHS for scheme in SCHEMES]
    made = "".join(f'<img src="{one.resolve().as_uri()}">' for one in found if one.exists())
    return made or "There was no such screen."


def main(what: str, *folders: str) -> None:
    """Take pictures, or join them."""
    path = chromium()
    if path is None:
        raise SystemExit("no Chromium on this system: apt-get install chromium")
    paths = [Path(one) for one in folders]
    paths[-1].mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        if what == "join":
            before, after, out = paths
            join(before, after, out, browser)
        else:
            _staged(paths[0], browser)
        browser.close()


def _staged(folder: Path, browser: Browser) -> None:
    with tempfile.TemporaryDirectory() as data, staged(Path(data), None, WAY) as stage:
        stage.call(lambda: past_cooks(stage))
        stage.start_cook(11.0)
        stage.silent = True

        async def wait() -> Any:
            stage.clock.advance(20 * 60_000)
            stage.daemon.tick(stage.clock.engine_ms())

        stage.call(wait)
        take(folder, browser, stage)


if __name__ == "__main__":
    main(*sys.argv[1:])
