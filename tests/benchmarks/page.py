"""What the page costs: bytes of the first load, twenty phones. A slow phone is in ``phone.py``.

Needs the system's Chromium; without it there are no rows.
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
