"""The joined chart: drawn, read, panned and zoomed by touch; gaps stay gaps."""

from __future__ import annotations

import pytest
from playwright.sync_api import FloatRect, Page, expect

from pitlogger.model.journal import CookFinished
from tests.benchmarks.page import first_load_kb
from tests.browser.conftest import Open
from tests.browser.staging import Staged

FIRST_LOAD_KB = 50  # what the page may cost before anybody sees it


def _ready(page: Page) -> None:
    expect(page.locator("#joined canvas")).to_have_count(2)


def _inked(page: Page, plot: str) -> int:
    """Return how many pixels of a plot are not the ground."""
    count: int = page.evaluate(
        """(plot) => {
            const c = document.querySelector(`[data-plot=${plot}] canvas`);
            const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
            let n = 0;
            for (let i = 3; i < d.length; i += 4) n += d[i] > 0;
            return n;
        }""",
        plot,
    )
    return count


def _plot(page: Page) -> FloatRect:
    """Return where the upper plot lies, scrolled into view."""
    over = page.locator("[data-plot=above] .u-over")
    over.evaluate("node => node.scrollIntoView({block: 'center'})")
    box = over.bounding_box()
    assert box is not None
    return box


def _read_at(page: Page, share: float) -> str:
    box = _plot(page)
    x = box["x"] + box["width"] * share
    page.mouse.move(x, box["y"] + 60)
    page.wait_for_timeout(100)
    page.mouse.move(x, box["y"] + 40)
    page.wait_for_timeout(100)
    return page.locator("[data-at]").inner_text()


@pytest.mark.looks
def test_both_plots_are_drawn_on_one_time_axis(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    assert _inked(page, "above") > 2000
    assert _inked(page, "below") > 2000
    boxes = [page.locator(f"[data-plot={p}] .u-over").bounding_box() for p in ("above", "below")]
    assert boxes[0] is not None
    assert boxes[1] is not None
    assert (boxes[0]["x"], boxes[0]["width"]) == (boxes[1]["x"], boxes[1]["width"])


@pytest.mark.looks
def test_a_moment_is_read_in_words(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    text = _read_at(page, 0.4)
    assert "pit 2" in text
    assert "brisket-1 " in text
    assert "lost 2.55 lb until at the wrap" in text


@pytest.mark.looks
def test_buttons_go_along_the_chart_without_a_drag(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    before = _read_at(page, 0.5)
    page.get_by_role("button", name="4 h").click()
    assert _read_at(page, 0.5)[:5] != before[:5]
    page.get_by_role("button", name="Earlier").click()
    hour = int(_read_at(page, 0.5)[:2])
    assert hour < 9


@pytest.mark.looks
def test_a_finger_pans(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    page.get_by_role("button", name="4 h").click()
    before = _read_at(page, 0.5)
    box = _plot(page)
    session = page.context.new_cdp_session(page)
    y = box["y"] + 100
    for kind, x in (("touchStart", 150.0), ("touchMove", 200.0), ("touchMove", 300.0)):
        touch = {"type": kind, "touchPoints": [{"x": x, "y": y}]}
        session.send("Input.dispatchTouchEvent", touch)
        page.wait_for_timeout(50)
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert _read_at(page, 0.5)[:5] < before[:5]


# Counts what is drawn with a pen: a picture that is moved needs none.
STROKES = """() => {
    window.strokes = 0;
    const stroke = CanvasRenderingContext2D.prototype.stroke;
    CanvasRenderingContext2D.prototype.stroke = function (...given) {
        window.strokes++;
        return stroke.apply(this, given);
    };
}"""


def test_a_pan_moves_the_picture_and_draws_it_anew_at_rest(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    with page.expect_response("**/api/v1/chart*"):  # then nothing is left to be drawn anew
        page.get_by_role("button", name="4 h").click()
    box = _plot(page)
    page.wait_for_timeout(600)
    stage.silent = True
    page.evaluate(STROKES)
    session = page.context.new_cdp_session(page)
    ink = _inked(page, "above")
    drawn, inks = [], []
    for kind, x in (("touchStart", 120.0), *(("touchMove", 120.0 + 8 * n) for n in range(1, 13))):
        points = [{"x": x, "y": box["y"] + 100}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        drawn.append(page.evaluate("window.strokes"))
        inks.append(_inked(page, "above"))
    assert drawn[-1] == drawn[0], "nothing is drawn while a finger moves"
    assert inks[-1] < ink, "what was seen moved on"
    page.wait_for_timeout(1500)
    assert page.evaluate("window.strokes") > drawn[-1]
    assert _inked(page, "above") > inks[-1]


@pytest.mark.looks
def test_two_fingers_zoom(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    early, late = _read_at(page, 0.05)[:5], _read_at(page, 0.6)[:5]
    session = page.context.new_cdp_session(page)
    box = _plot(page)
    y, middle = box["y"] + 100, box["x"] + box["width"] * 0.4
    for kind, apart in (("touchStart", 20.0), ("touchMove", 60.0), ("touchMove", 120.0)):
        points = [{"x": middle - apart, "y": y, "id": 0}, {"x": middle + apart, "y": y, "id": 1}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        page.wait_for_timeout(50)
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert _read_at(page, 0.05)[:5] > early
    assert _read_at(page, 0.6)[:5] < late


@pytest.mark.looks
def test_a_gap_in_readings_is_a_gap(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    start = stage.daemon.engine.book.started_ms or 0
    span = [start + round(hour * 3_600_000) for hour in (5.0, 5.8)]
    kinds = page.evaluate(
        """async ([from, to]) => {
            const { aligned, buckets } = await import(document.querySelector(
                'script[type=module]').src.replace('page.mjs', 'chart.mjs'));
            const lines = await buckets(['brisket-2/core'], from, to);
            const values = aligned(lines, ['brisket-2/core'], from, to, {temperature: c => c})[3];
            return [values.filter(v => v === null).length, values.filter(v => v > 0).length];
        }""",
        span,
    )
    assert kinds[0] > 250
    assert kinds[1] > 80


@pytest.mark.looks
def test_another_piece_is_one_tap_away(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    _ready(page)
    page.locator("[data-pieces]").get_by_role("button", name="butt-1").click()
    expect(page.locator("[data-pieces] [aria-pressed=true]")).to_have_text("butt-1")
    expect(page.locator("[data-swatch='butt-1/core']")).to_have_attribute("data-line", "1")


@pytest.mark.looks
def test_the_chart_speaks_to_those_who_cannot_see_it(stage: Staged, open_page: Open) -> None:
    page = open_page("/")
    label = page.locator("#joined [role=img]").get_attribute("aria-label")
    assert label is not None
    assert "brisket-1" in label
    page.get_by_text("The chart as a table").click()
    expect(page.locator(".as-table tbody tr")).to_have_count(10)


def test_two_cooks_are_compared_on_one_chart(stage: Staged, open_page: Open) -> None:
    stage.call(lambda: stage.daemon.submit(CookFinished("harvest supper"), "AK"))
    first = stage.call(lambda: _cooks(stage))[0]
    stage.call(lambda: _second(stage))
    page = open_page("/cooks")
    page.locator(f"a[href='/cooks/{first}']").click()
    _ready(page)
    page.get_by_label("Compare with").select_option(index=1)
    page.get_by_role("button", name="Compare").click()
    _ready(page)
    assert "with=" in page.url


async def _cooks(stage: Staged) -> list[str]:
    rows = await stage.daemon.ask(lambda reader: reader.cooks())
    return [row.id for row in rows]


async def _second(stage: Staged) -> None:
    from tests.browser import kitchen

    stage.clock.advance(60_000)
    await stage.daemon.submit(kitchen.start(stage.clock.engine_ms()), "AK")
    stage.clock.advance(600_000)
    stage.daemon.tick(stage.clock.engine_ms())
    await stage.daemon.submit(CookFinished("harvest supper"), "AK")


@pytest.mark.looks
def test_the_first_load_is_small(stage: Staged, browser: object) -> None:
    assert first_load_kb(browser, stage) <= FIRST_LOAD_KB  # type: ignore[arg-type]
