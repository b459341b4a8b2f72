"""What the page costs: bytes of the first load, time to read it, panning, twenty phones.

A phone of 412 px; the processor four times slower and a 3G network (750 kbit/s, 100 ms) for
the time to read. Needs the system's Chromium; without it there are no rows.
"""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.benchmarks.row import Row
from tests.browser.conftest import ARGS, PHONE, chromium, pairing_cookie
from tests.browser.staging import Staged, staged

PHONES, LISTEN_S = 20, 10.0
SLOWER, NET = 4, {"offline": False, "latency": 100, "downloadThroughput": 750_000 / 8,
                  "uploadThroughput": 250_000 / 8}  # fmt: skip
FIRST_LOAD = ("document", "script", "stylesheet", "other", "image")


def rows() -> list[Row]:
    """Return the rows of the page."""
    path = chromium()
    if path is None:
        return []
    with (
        tempfile.TemporaryDirectory() as folder,
        staged(Path(folder), 14.0) as stage,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        found = [
            Row("page", first_load_kb(browser, stage), "KB gzip"),
            Row("page-readable", readable_ms(browser, stage), "ms"),
            Row("page-pan", pan_fps(browser, stage), "frames/s"),
            Row("page-phones", phones_share(stage), "% of a core"),
        ]
        browser.close()
    return found


@contextmanager
def _phone(browser: Browser, stage: Staged) -> Iterator[tuple[BrowserContext, Page]]:
    with browser.new_context(**PHONE) as context:
        context.add_cookies([pairing_cookie(stage)])
        yield context, context.new_page()


def first_load_kb(browser: Browser, stage: Staged) -> float:
    """Return the bytes of the first screen and all it loads, as packed on the wire, in KB."""
    requests: list[Any] = []
    with _phone(browser, stage) as (_, page):

        def keep(request: Any) -> None:  # a bound list method cannot be a listener
            requests.append(request)

        page.on("requestfinished", keep)
        page.goto(stage.address)
        page.wait_for_selector("#joined canvas")
        page.wait_for_timeout(500)
        loaded = [one for one in requests if one.resource_type in FIRST_LOAD]
        return float(sum(one.sizes()["responseBodySize"] for one in loaded)) / 1000


def readable_ms(browser: Browser, stage: Staged) -> float:
    """Return when the first sentence and the figures are painted on a slow phone, ms."""
    with _phone(browser, stage) as (context, page):
        session = context.new_cdp_session(page)
        session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
        session.send("Network.enable")
        session.send("Network.emulateNetworkConditions", NET)
        page.goto(stage.address, wait_until="commit")
        page.wait_for_selector("[data-figure]")
        page.wait_for_timeout(3000)
        painted: float = page.evaluate(
            "performance.getEntriesByName('first-contentful-paint')[0].startTime"
        )
    return painted


def pan_fps(browser: Browser, stage: Staged) -> float:
    """Return frames a second while the chart is dragged to and fro by a finger."""
    with _phone(browser, stage) as (context, page):
        page.goto(stage.address)
        page.wait_for_selector("#joined canvas")
        page.click("[data-look='4']")
        page.wait_for_timeout(1000)
        page.evaluate(
            "() => { window.frames_ = 0; const f = () => { frames_++; requestAnimationFrame(f); };"
            " requestAnimationFrame(f); }"
        )
        box = page.locator("[data-plot=above]").bounding_box()
        assert box is not None
        session = context.new_cdp_session(page)
        y = box["y"] + box["height"] / 2

        def touch(kind: str, x: float) -> None:
            points = [] if kind == "touchEnd" else [{"x": x, "y": y}]
            session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        touch("touchStart", 200)
        before, began = page.evaluate("frames_"), time.perf_counter()
        for step in range(120):
            touch("touchMove", 200 + (step % 40) * 4)
        frames = page.evaluate("frames_") - before
        fps = frames / (time.perf_counter() - began)
        touch("touchEnd", 200)
    return float(fps)


def phones_share(stage: Staged) -> float:
    """Return what the figures for twenty listening phones cost, % of a core."""
    alone = _used_share(LISTEN_S)
    stop = threading.Event()
    keys = [stage.key(f"phone-{number}") for number in range(PHONES)]
    listeners = [threading.Thread(target=_listen, args=(stage, key, stop)) for key in keys]
    for one in listeners:
        one.start()
    time.sleep(2.0)
    with_phones = _used_share(LISTEN_S)
    stop.set()
    for one in listeners:
        one.join()
    return max(0.0, with_phones - alone)


def _used_share(seconds: float) -> float:
    before, began = time.process_time(), time.perf_counter()
    time.sleep(seconds)
    return 100 * (time.process_time() - before) / (time.perf_counter() - began)


def _listen(stage: Staged, key: str, stop: threading.Event) -> None:
    """Read the stream without looking at it; the reading itself costs this process too."""
    url = f"{stage.address}api/v1/stream?figures=1"
    with httpx.stream("GET", url, headers={"Cookie": f"pitlogger={key}"}, timeout=30) as answer:
        for _ in answer.iter_raw():
            if stop.is_set():
                return
