"""The page on a slow phone: time to read it and to see its chart, panning, twenty minutes of it.

Six pieces and sixteen channels, a phone of 390 px whose processor is slowed four times. Networks as
browsers' own throttling has them: fast 3G 1.6 Mbit/s and 150 ms, slow 3G 400 kbit/s and 400 ms.
Needs the system's Chromium; without it there are no rows.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from pitlogger.web.routes import stream
from tests.benchmarks.row import Row
from tests.browser import full_house
from tests.browser.conftest import ARGS, chromium, pairing_cookie
from tests.browser.staging import Staged, staged

SLOWER = 4
NETS = {"fast": (1600, 150), "slow": (400, 400)}  # kbit/s, ms
MINUTES, SPEED = 20, 10  # ten seconds of the node in one of ours
SETTLED_MS = 15_000  # until all is loaded
STEPS = 150
SEEN = """() => {
    const seen = window.seen = {};
    new PerformanceObserver((list) => {
        for (const one of list.getEntries()) if (one.name === 'first-contentful-paint') seen.sentence = one.startTime;
    }).observe({type: 'paint', buffered: true});
    const look = () => {
        const drawn = document.querySelectorAll('#joined canvas').length === 2;
        if (drawn) seen.chart = performance.now(); else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""  # noqa: E501


def rows() -> list[Row]:
    """Return the rows of a slow phone."""
    path = chromium()
    if path is None:
        return []
    with (
        tempfile.TemporaryDirectory() as folder,
        staged(Path(folder), full_house.HOUR, scene=full_house) as stage,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        found = []
        first_sight_ms(browser, stage, "fast")  # templates are compiled by the first load of a node
        for net in NETS:
            sentence, chart = first_sight_ms(browser, stage, net)
            found += [Row(f"phone-sentence-{net}", sentence, "ms"),
                      Row(f"phone-chart-{net}", chart, "ms")]  # fmt: skip
        found.append(Row("phone-pan", pan_p95_ms(browser, stage), "ms"))
        heap, nodes = growth(browser, stage)
        found += [Row("phone-heap", heap, "KB"), Row("phone-nodes", nodes, "nodes")]
        browser.close()
    return found


@contextmanager
def _phone(browser: Browser, stage: Staged) -> Iterator[tuple[CDPSession, Page]]:
    with browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, bypass_csp=True
    ) as context:
        context.add_cookies([pairing_cookie(stage)])
        page = context.new_page()
        session = context.new_cdp_session(page)
        session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        yield session, page


def first_sight_ms(browser: Browser, stage: Staged, net: str) -> tuple[float, float]:
    """Return when the sentence is painted and when the chart is drawn, of a first load."""
    rate, latency = NETS[net]
    with _phone(browser, stage) as (session, page):
        session.send("Network.enable")
        bytes_s = rate * 1000 / 8
        session.send("Network.emulateNetworkConditions", {
            "offline": False, "latency": latency, "downloadThroughput": bytes_s,
            "uploadThroughput": bytes_s / 2})  # fmt: skip
        page.add_init_script(f"({SEEN})()")
        page.goto(stage.address, wait_until="commit")
        page.wait_for_function("window.seen?.chart && window.seen.sentence", timeout=60_000)
        seen: dict[str, float] = page.evaluate("window.seen")
    return seen["sentence"], seen["chart"]


def _script_ms(session: CDPSession) -> float:
    metrics = session.send("Performance.getMetrics")["metrics"]
    return 1000 * next(float(m["value"]) for m in metrics if m["name"] == "ScriptDuration")


def pan_p95_ms(browser: Browser, stage: Staged) -> float:
    """Return the 95th percentile of what scripts take in a frame while a finger pans.

    By the time of the page's thread, so that what else the machine does is left out.
    """
    with _phone(browser, stage) as (session, page):
        page.goto(stage.address)
        page.wait_for_selector("#joined canvas")
        page.click("[data-look='4']")
        page.wait_for_timeout(1500)
        over = page.locator("[data-plot=above] .u-over")
        over.evaluate("node => node.scrollIntoView({block: 'center'})")
        box = over.bounding_box()
        assert box is not None
        session.send("Performance.enable", {"timeDomain": "threadTicks"})

        def touch(kind: str, x: float) -> None:
            points: list[Any] = [] if kind == "touchEnd" else [{"x": x, "y": box["y"] + 90}]
            session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        touch("touchStart", 120)
        took = []
        for step in range(STEPS):
            before = _script_ms(session)
            touch("touchMove", 120 + abs(step % 60 - 30) * 5)
            page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
            took.append(_script_ms(session) - before)
        touch("touchEnd", 120)
    return sorted(took)[round(0.95 * len(took)) - 1]


def growth(browser: Browser, stage: Staged) -> tuple[float, float]:
    """Return what twenty minutes of live figures leave behind: heap in KB, and nodes.

    A screen that has run so long is compared with the same screen opened anew: what came meanwhile
    (an alarm, a line of a table) stands on both and is no growth.
    """
    usual, stream.BEAT_S, stage.speed = stream.BEAT_S, stream.BEAT_S / SPEED, SPEED
    try:
        with _phone(browser, stage) as (session, page):
            page.goto(stage.address)
            page.wait_for_timeout(SETTLED_MS + MINUTES * 60_000 / SPEED)
            grown = _held(session)
        with _phone(browser, stage) as (session, page):
            page.goto(stage.address)
            page.wait_for_timeout(SETTLED_MS)
            fresh = _held(session)
    finally:
        stream.BEAT_S, stage.speed = usual, 1.0
    return (grown[0] - fresh[0]) / 1000, grown[1] - fresh[1]


def _held(session: CDPSession) -> tuple[float, float]:
    for _ in range(3):
        session.send("HeapProfiler.collectGarbage")
    used = session.send("Runtime.getHeapUsage")["usedSize"]
    return float(used), float(session.send("Memory.getDOMCounters")["nodes"])
