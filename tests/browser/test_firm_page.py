"""The firm's page in Chromium as each role: every page of it, on a phone and on a desk."""

from __future__ import annotations

import asyncio
import json
import os
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from queue import Queue

import httpx
import pytest
from playwright.sync_api import Browser, Page

from pitlogger.clock import utc_ms
from pitlogger.formats.bundle import Bundle, ClockPart, EntryPart, NowPart
from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.members import add_member
from pitlogger.hub.opening import open_sink
from pitlogger.hub.receive import receive
from pitlogger.hub.writing import HubSink
from pitlogger.web.fleet.central import run_web
from pitlogger.web.fleet.firm_page import COOKIE
from tests.fleet.conftest import Server, server  # noqa: F401  a fixture
from tools.fleet.pits import BLOCK_MS, RUN, START_MS, Pit, enrol, make_pits, simulated_cook

FIRM, OTHER = "Meadow Catering", "Quarry Lane Foods"
WIDTHS = {390: 844, 1440: 900}
BLOCKS = 12
SEEN_FROM_MS = START_MS + BLOCKS * BLOCK_MS  # engine time of the pits now
PICTURES = os.environ.get("FIRM_PICTURES")  # a folder for what is seen
EVERYTHING = ["Every pit now", "Exceptions of the last 24 hours", "Servable yield", "Cooks",
              "Nodes", "Let another node join"]  # fmt: skip
ROLES: dict[str, tuple[list[str], list[str]]] = {  # sections and pits that are seen
    "owner": (EVERYTHING, ["pit 1", "pit 2", "pit 3"]),
    "manager": (EVERYTHING, ["pit 2"]),
    "cook": (EVERYTHING[:4], ["pit 1"]),
    "inspector": ([EVERYTHING[at] for at in (0, 1, 3)], ["pit 1", "pit 2", "pit 3"]),
}


@dataclass(frozen=True, slots=True)
class Firm:
    """The page's address, and the key of each who looks."""

    address: str
    keys: dict[str, str]
    pits: list[Pit]


def _alert(seq: int, at_ms: int, now: str) -> EntryPart:
    said = {"run": RUN, "seq": seq, "t_ms": at_ms, "kind": "alert-changed", "by": "",
            "alert": "pit-low/pit", "alert_kind": "pit-low", "was": "normal", "now": now,
            "priority": "high", "piece": "butt-1", "message": "cold"}  # fmt: skip
    return EntryPart(seq, at_ms, "alert-changed", "", None, "supper", json.dumps(said))


def _now(hit: bool) -> NowPart:
    alerts = [{"kind": "pit-low", "subject": "pit", "priority": "high", "state": "unacknowledged",
               "since_ms": utc_ms() - 600_000}]  # fmt: skip
    document = {
        "cook": "supper", "name": "supper", "alerts": alerts if hit else [],
        "pieces": [{"id": "butt-1", "cut": "pork-butt", "stage": "carved", "core_mc": 93_200,
                    "since_ms": 1}],
        "pits": [{"id": "chamber", "mc": 96_500 if hit else 118_400}, {"id": "box", "mc": None}],
    }  # fmt: skip
    return NowPart(SEEN_FROM_MS, int(hit), json.dumps(document))


def _fill(sink: HubSink, pits: list[Pit], cook: list[Bundle]) -> None:
    """Have pits cook, the first with an alarm; the last has not been heard for an hour."""
    clock = (ClockPart(START_MS, utc_ms() - SEEN_FROM_MS, True, 0),)
    for at, pit in enumerate(pits):
        told = [replace(bundle, clocks=clock) for bundle in cook]
        last = told[-1].entries[-1].seq
        more = () if at else (_alert(last + 1, SEEN_FROM_MS - 600_000, "unacknowledged"),)
        told[-1] = replace(told[-1], entries=(*told[-1].entries, *more), now=_now(not at))
        batch = [receive(pit.uid, pit.tells(bundle, number), sink.node_of)
                 for number, bundle in enumerate(told, 1)]  # fmt: skip
        at_ms = utc_ms() - (3_600_000 if pit is pits[-1] else 0)
        fold_cooks(sink.database, sink.take(batch, [], at_ms))
    note = cook[0].entries[3]
    other = replace(note, text=note.text.replace("west", "east"))
    forged = pits[1].tells(replace(cook[0], spans=(), entries=(other,)), 99)
    outcome = sink.take([receive(pits[1].uid, forged, sink.node_of)], [], utc_ms())
    assert outcome.contradicted


def _members(sink: HubSink, tenant: int) -> dict[str, str]:
    year_ms = 366 * 86_400_000
    who: dict[str, tuple[str, list[str], int | None]] = {
        "owner": ("owner", [], None), "manager": ("manager", ["site 2"], None),
        "cook": ("cook", ["site 1"], None), "inspector": ("inspector", [], utc_ms() + year_ms),
        "late": ("inspector", [], utc_ms() - 1),
    }  # fmt: skip
    return {
        name: add_member(sink.database, tenant, name.title(), *given, utc_ms(), "test")
        for name, given in who.items()
    }


@pytest.fixture(scope="module")
def firm(server: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firm]:  # noqa: F811
    made = server.new_database()
    address = server.address(made.connection.info.dbname)
    made.close()
    sink, pits = open_sink(address), make_pits(4, 5)
    database = sink.database
    enrol(sink, FIRM, pits[:3], sites=3)
    enrol(sink, OTHER, pits[3:], sites=1)
    _fill(sink, pits[:3], simulated_cook(BLOCKS / 6, channels=3, every_s=10))
    tenants: dict[str, int] = dict(database.ask("SELECT name, id FROM tenant"))
    keys = _members(sink, tenants[FIRM])
    keys["stranger"] = add_member(
        database, tenants[OTHER], "Zoe", "owner", [], None, utc_ms(), "test"
    )
    database.close()
    with _served(address, tmp_path_factory.mktemp("hub")) as where:
        yield Firm(where, keys, pits)


@contextmanager
def _served(database: str, folder: Path) -> Iterator[str]:
    """Run the hub's web part in a thread of its own; yield where its page is."""
    said: Queue[str] = Queue()
    loop = asyncio.new_event_loop()
    running = loop.create_task(
        run_web(database, folder, FIRM, "127.0.0.1", 0, 0, "", said.put_nowait)
    )

    def run() -> None:
        with suppress(asyncio.CancelledError):
            loop.run_until_complete(running)
        loop.close()

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield said.get(timeout=60).rpartition(" ")[2]
    finally:
        loop.call_soon_threadsafe(running.cancel)
        thread.join(30)


@pytest.fixture
def look(browser: Browser, firm: Firm) -> Iterator[Callable[[str, int], Page]]:
    """Let somebody in by their key; what a page complains of fails the test."""
    faults: list[str] = []
    contexts = []

    def entered(who: str, width: int) -> Page:
        size = {"width": width, "height": WIDTHS[width]}
        context = browser.new_context(ignore_https_errors=True, viewport=size)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
        page.goto(firm.address)
        faults.clear()  # that it asks who looks is an answer of 401
        page.get_by_label("Key you were given").fill(firm.keys[who])
        with page.expect_navigation():  # whole, with its style
            page.get_by_role("button", name="Look").click()
        return page

    yield entered
    for context in contexts:
        context.close()
    refused = re.compile("status of 40[145]")  # asked for on purpose
    assert not [fault for fault in faults if not refused.search(fault)]


def _seen(page: Page, name: str) -> str:
    """Return all that a page says; it fits its window, and a picture of it is kept if wanted."""
    if PICTURES:
        page.screenshot(path=f"{PICTURES}/{name}.png", full_page=True)
    over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert over <= 0, f"{name} is {over} px too wide"
    assert page.title()
    return page.inner_text("body")


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("who", ROLES)
def test_a_role_sees_what_is_theirs_and_nothing_else(
    firm: Firm, look: Callable[[str, int], Page], who: str, width: int
) -> None:
    page = look(who, width)
    text = _seen(page, f"{who}-{width}")
    sections, pits = ROLES[who]
    heads = page.get_by_role("heading", level=2).all_inner_texts()
    assert [head for head in EVERYTHING if any(head in found for found in heads)] == sections
    assert [pit for pit in ("pit 1", "pit 2", "pit 3", "pit 4") if pit in text] == pits
    assert FIRM in text
    assert OTHER not in text
    assert f"{who.title()}, {who}" in text
    if who in ("owner", "inspector"):
        assert "1 of 3 pits needs a hand: site 1, pit 1." in text
        assert "heard 60 min ago" in text
    if "pit 1" in pits:
        assert "pit too cold: butt-1" in text
        assert "waits for a hand" in text
        assert "none on record" in text
    assert ("Contradictions" in heads or "Contradictions" in text) == (
        "Nodes" in sections and "pit 2" in pits
    )
    if who == "manager":
        assert page.get_by_label("Site where it will belong").locator(
            "option"
        ).all_inner_texts() == ["site 2"]
    links = page.locator("a[href*='/cook/']").evaluate_all("all => all.map(a => a.href)")
    assert len(links) == len(pits)
    for at, link in enumerate(links):
        page.goto(link)
        cook = _seen(page, f"{who}-{width}-cook-{at}")
        assert "Temperatures" in cook
        assert "probe-0" in cook
        assert "doubtful food is thrown away" in cook
    with page.expect_navigation():  # whole, with its style
        page.get_by_role("link", name="Every pit").click()
    assert "Every pit now" in page.inner_text("body")


def test_what_is_not_theirs_is_refused_by_its_address(
    firm: Firm, look: Callable[[str, int], Page]
) -> None:
    for who, (_, seen) in ROLES.items():
        page = look(who, 390)
        for at, pit in enumerate(firm.pits, 1):
            answer = page.goto(f"{firm.address}/cook/{pit.uid}/supper")
            assert answer is not None
            assert answer.status == (200 if f"pit {at}" in seen else 404), (who, at)
        assert "not yours to see" in page.inner_text("body")
        for path in ("/code", "/api/v1/status", "/api/v1/hub/nodes", "/firm", "/enter"):
            answer = page.goto(firm.address + path)
            assert answer is not None
            assert answer.status in (404, 405), path


@pytest.mark.parametrize("who", ["late", "stranger"])
def test_whose_time_has_ended_and_another_firms_owner_see_nothing(
    firm: Firm, look: Callable[[str, int], Page], who: str
) -> None:
    page = look(who, 390)
    paths = ["/", *(f"/cook/{pit.uid}/supper" for pit in firm.pits)]
    assert "its time has ended" in _seen(page, f"{who}-390")
    cookie = {"name": COOKIE, "value": firm.keys[who], "url": firm.address, "secure": True}
    page.context.add_cookies([cookie])  # type: ignore[list-item]
    for path in paths:
        answer = page.goto(firm.address + path)
        assert answer is not None
        assert answer.status == 401, path
        text = page.inner_text("body")
        assert not [pit for pit in firm.pits if pit.name in text or pit.uid in text]
    with httpx.Client(verify=False, base_url=firm.address, cookies={COOKIE: firm.keys[who]}) as one:
        made = one.post("/code", data={"site": "site 1"}, headers={"origin": firm.address})
        assert made.status_code == 401


@pytest.mark.parametrize("width", WIDTHS)
def test_a_code_is_made_by_a_tap(look: Callable[[str, int], Page], width: int) -> None:
    page = look("manager", width)
    with page.expect_navigation():  # whole, with its style
        page.get_by_role("button", name="Make a code").click()
    text = _seen(page, f"code-{width}")
    assert "pitlogger uplink join 127.0.0.1:" in text
    assert "15 minutes" in text
    qr = page.locator(".code-qr svg")
    drawn, box = qr.locator("path").bounding_box(), qr.bounding_box()
    assert drawn is not None
    assert box is not None
    assert drawn["width"] > 0.8 * box["width"], "the code fills its square"
