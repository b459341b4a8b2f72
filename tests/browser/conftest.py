"""A real Chromium before a real daemon. Skipped only where no Chromium is installed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from pitlogger.web.access.roles import Role
from tests.browser.staging import Staged, staged

ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
PHONE: dict[str, Any] = {"viewport": {"width": 412, "height": 915}, "has_touch": True}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PATIENCE_MS = 8000
expect.set_options(timeout=15_000)  # a crowded machine is slow, not wrong

Open = Callable[..., Page]


def chromium() -> str | None:
    """Return the path of the system's Chromium."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Chromium for this folder alone: its event loop would stand in the way of async tests."""
    path = chromium()
    if path is None:
        pytest.skip("no Chromium on this system")
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=path, args=ARGS)
        yield made
        made.close()


@pytest.fixture(scope="module")
def seen_stage(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staged]:
    """A cook nine hours in for all tests of a file that are marked ``looks``."""
    with staged(tmp_path_factory.mktemp("seen")) as made:
        yield made


@pytest.fixture
def stage(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Staged]:
    """A cook nine hours in, or at the hour a test asks for with ``parametrize``."""
    if request.node.get_closest_marker("looks"):
        yield request.getfixturevalue("seen_stage")
        return
    with staged(tmp_path, getattr(request, "param", 9.0)) as made:
        yield made


@pytest.fixture
def open_page(browser: Browser, stage: Staged) -> Iterator[Open]:
    """Open a screen on a paired phone; every error of a script fails the test."""
    contexts: list[BrowserContext] = []
    faults: list[str] = []

    def opened(path: str = "/", role: Role = Role.OWNER, **more: Any) -> Page:
        context = browser.new_context(**{**PHONE, **more})
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        context.add_cookies([pairing_cookie(stage, role)])
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.goto(stage.address + path.lstrip("/"))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def settled(page: Page, text: str, press: Callable[[Locator], None] = Locator.click) -> None:
    """Wait for an outcome; a question about haste is answered as things were entered."""
    told, question = page.locator("#told", has_text=text), page.locator(".asked")
    expect(told.or_(question).first).to_be_visible()
    if question.count():
        box = question.bounding_box()
        assert box is not None
        assert box["width"] > 250, "a question is not squeezed into the column of its button"
        press(question.get_by_role("button").nth(-2))
        expect(told).to_be_visible()


def pairing_cookie(stage: Staged, role: Role = Role.OWNER) -> Any:
    return {
        "name": "pitlogger", "value": stage.key(role=role), "url": stage.address,
        "httpOnly": True, "sameSite": "Strict",
    }  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything here opens a browser and is slow."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.slow)


def rested(page: Page) -> None:
    """Wait until what stands where the last tap was may be tapped: a second one does nothing."""
    page.wait_for_timeout(1600)


async def fall_silent(stage: Staged) -> None:
    """Let twenty minutes pass without a reading: alarms come."""
    stage.silent = True
    stage.clock.advance(20 * 60_000)
    stage.daemon.tick(stage.clock.engine_ms())
