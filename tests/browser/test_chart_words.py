"""Words on the chart stand apart from each other and within the picture, wherever lines end."""

from __future__ import annotations

import json
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from pitlogger.views.language import speaking
from tests.browser.conftest import Open
from tests.browser.staging import Staged

# Keeps what was written on each canvas since it was wiped, as boxes in its own pixels.
WRITTEN = """() => {
    const pen = CanvasRenderingContext2D.prototype, { fillText, clearRect } = pen;
    window.written = new Map();
    pen.fillText = function (text, x, y, ...more) {
        const m = this.measureText(text), at = this.getTransform().transformPoint({ x, y });
        const tick = ["off", "wrap"].includes(text) ? 19 * devicePixelRatio : 0; // before its word
        const box = { text,
            left: at.x - m.actualBoundingBoxLeft - tick, right: at.x + m.actualBoundingBoxRight,
            top: at.y - m.actualBoundingBoxAscent, bottom: at.y + m.actualBoundingBoxDescent };
        window.written.set(this.canvas, [...(window.written.get(this.canvas) ?? []), box]);
        return fillText.call(this, text, x, y, ...more);
    };
    pen.clearRect = function (x, y, width, height) {
        if (width >= this.canvas.width - 1) window.written.set(this.canvas, []);
        return clearRect.call(this, x, y, width, height);
    };
}"""
CLASHES = """() => [...window.written].flatMap(([canvas, all]) => {
    if (!canvas.isConnected) return [];
    const shown = all.filter((one) => one.text.trim());
    const out = shown.filter((one) => one.left < -1 || one.right > canvas.width + 1
        || one.top < -1 || one.bottom > canvas.height + 1).map((one) => `${one.text} is cut off`);
    const over = shown.flatMap((one, at) => shown.slice(at + 1)
        .filter((other) => one.left < other.right && other.left < one.right
            && one.top < other.bottom && other.top < one.bottom)
        .map((other) => `${one.text} over ${other.text}`));
    return [...out, ...over];
})"""


def _near(page: Page, wrap_by: float, pull_by: float) -> None:
    """Let the targets of every piece lie so many degrees from where its core is."""

    def answer(route: Route) -> None:
        told: dict[str, Any] = route.fetch().json()
        last = {one["channel"]: one.get("level_c") for one in told["lines"]}
        for piece in told["pieces"]:
            core = last.get((piece["cores"] or [""])[0]) or CORE_C
            piece |= {"wrap_c": core + wrap_by, "pull_c": core + pull_by}
            piece["stages"] = [one for one in piece["stages"] if one["stage"] != "wrapped"]
        route.fulfill(body=json.dumps(told), content_type="application/json")

    page.route("**/api/v1/joined*", answer)


CORE_C = 77.0  # of brisket-1 nine hours in, about
APART = [(0.0, 12.0), (-2.0, 2.0), (3.0, 5.0), (8.0, 8.5), (-9.0, 1.0)]


@pytest.mark.looks
@pytest.mark.parametrize("tag", ["en", "en-XA"])
@pytest.mark.parametrize(("width", "way"), [(360, "ltr"), (390, "rtl"), (1440, "ltr")])
def test_no_word_lies_on_another_or_is_cut_off(
    stage: Staged, open_page: Open, width: int, way: str, tag: str
) -> None:
    with speaking(tag):
        page = open_page("/more", viewport={"width": width, "height": 800})
        page.add_init_script(f"({WRITTEN})()")
        page.add_init_script(
            f"addEventListener('DOMContentLoaded', () => document.documentElement.dir = '{way}')"
        )
        clashes = []
        for wrap_by, pull_by in APART:
            page.unroute_all()
            _near(page, wrap_by, pull_by)
            page.goto(stage.address)
            expect(page.locator("#joined canvas")).to_have_count(2)
            for span in ("All", "1 h"):
                page.get_by_role("group").locator(f"[data-look='{LOOKS[span]}']").click()
                page.wait_for_timeout(400)
                clashes += [f"{wrap_by} {span}: {one}" for one in page.evaluate(CLASHES)]
    assert clashes == []


LOOKS = {"All": "all", "1 h": "1"}
