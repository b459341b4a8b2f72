"""All screens of a full house in the pseudo-locale: only names and citations stay plain."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from pitlogger.node.containers import keep
from pitlogger.views.language import speaking
from tests.browser import full_house
from tests.browser.conftest import pairing_cookie
from tests.browser.pictures import WAY, past_cooks
from tests.browser.staging import Staged, staged
from tests.browser.test_reach import SCREENS
from tests.views.pseudo import untranslated

MORE = ("/ahead?piece=brisket-1", "/sales", "/import", "/plan")
# What people and makers called things, units, and names of the language of the web.
NAMES = {
    "barn", "vm", "Pit", "ours",
    "harvest wedding", "supper", "hill farm", "valley meats", "half pan", "phone",
    "command", "pitlogger", "node", "brisket", "butt", "bench-scale", "cabinet", "cold-box",
    "spare", "core", "pit", "hand probe", "kitchen scale", "USD", "min", "typed", "UTC",
    "retail-food-code", "cooked-again", "held-for-review", "SHA", "http", "CSV", "XLSX", "TOML",
}  # fmt: skip
DATES = re.compile(
    r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun|Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b"
)
ENTRY = re.compile(r"\b[a-z0-9]{4}-\d+\b")
CITED = re.compile(r"FDA Food Code|FSIS|USDA|NDB|common practice")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staged]:
    folder = tmp_path_factory.mktemp("house")
    with staged(folder, None, WAY, full_house) as stage:
        stage.call(lambda: past_cooks(stage))
        keep(stage.daemon, "half pan 1", 412_000, "AK")
        stage.start_cook(full_house.HOUR)
        yield stage


@pytest.fixture
def page(house: Staged, browser: Browser) -> Iterator[Page]:
    with browser.new_context(viewport={"width": 390, "height": 844}) as context:
        context.add_cookies([pairing_cookie(house)])
        yield context.new_page()


def _plain(page: Page) -> list[str]:
    """Return what a screen says that is neither translated nor a name, a date or a citation."""
    left = untranslated(page.content(), NAMES)
    return [
        one
        for one in left
        if not CITED.search(one)
        and untranslated(f"<p>{ENTRY.sub(' ', DATES.sub(' ', one))}</p>", NAMES)
    ]


def test_no_sentence_of_any_screen_is_left_in_english(house: Staged, page: Page) -> None:
    with speaking("en-XA"):
        page.goto(f"{house.address}cooks")
        past = page.locator("main a[href^='/cooks/']").first.get_attribute("href")
        assert past is not None
        left: dict[str, str] = {}
        for path in (past, *SCREENS, *MORE):
            page.goto(house.address + path.lstrip("/"))
            page.wait_for_load_state("load")
            if path == "/":
                expect(page.locator("#joined canvas").first).to_be_visible()
            for one in _plain(page):
                left.setdefault(one, path)
    assert left == {}, "\n".join(f"{path}: {one}" for one, path in left.items())
