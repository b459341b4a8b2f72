"""Every button of every screen is tapped twice on the same spot: it acts once, nothing else acts.

The page's clock stands still but for what a test lets pass, so that the second tap comes 0.3 s or
1.4 s after an answer that took no time at all: then what rests under the finger rests shortest.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Browser, Page, Request

from pitlogger.node.containers import keep
from tests.browser import full_house
from tests.browser.conftest import pairing_cookie
from tests.browser.staging import Staged, staged
from tests.browser.test_reach import SCREENS

WAY = '[[notify.way]]\nid = "phone"\nkind = "command"\nargv = ["true"]\n'
MORE = ("/ahead?piece=brisket-1", "/sales", "/import", "/food", "/piece/butt-1")
DAILY = ("/weigh", "/temp", "/alarms")  # all others at night
OTHERS = [path for path in (*MORE, *reversed(SCREENS)) if path not in DAILY]
AFTER_MS = (300, 1400)
RESTED_MS = 1600
# Left to tests of their own: they look for devices or reach other machines.
ELSEWHERE = ("/join/", "/uplink/", "/enter")

VALUES = {
    "name": "tray 7", "mass": "4.2 kg", "note": "the larger one", "text": "turned it",
    "value": "150", "reason": "mistyped", "ago_min": "0", "into.0.id": "left",
    "into.1.id": "right", "into.id": "pulled", "cause": "lid open", "control_restored": "closed",
    "prevention": "a hook", "initials": "MO", "by": "AK", "pin": "4711", "again": "4711",
    "altitude": "240 m", "mass-shown": "4.2 kg", "mass-interval": "1 g", "other": "hand 3",
    "url": "https://ntfy.example.org/pit", "id": "kitchen-phone", "place": "orchard",
    "guests": "60", "pasted": "date,cook,piece,cut,purchased\n", "serve_at": "2026-09-20T18:00",
    "wrap_at": "165", "pull_at": "203", "cut-1": "brisket-packer", "client": "somebody",
}  # fmt: skip

# All that is worth a tap, by where it leads and what it is called.
TAPPED = """
    document.querySelectorAll('details').forEach((one) => { one.open = true; });
    const nameOf = (one) => one.getAttribute('aria-label')
        ?? one.textContent.trim().replace(/\\s+/g, ' ');
    const leadsTo = (one) => one.form ? new URL(one.form.action).pathname
        : one.getAttribute('href') ?? '';
    const all = [...document.querySelectorAll('button, a.button, main a[href^="/"], nav a')]
        .filter((one) => one.checkVisibility() && !one.closest('#link')
            && !one.hasAttribute('download')
            && (location.pathname === '/' || !one.closest('nav, .top')));"""
LIST = f"() => {{ {TAPPED} return all.map((one) => [leadsTo(one), nameOf(one)]); }}"
FIND = f"""([to, name]) => {{ {TAPPED}
    return all.find((one) => leadsTo(one) === to && nameOf(one) === name) ?? null; }}"""
FILL = """(button, values) => {
    const form = button.form;
    if (!form || button.type === 'button') return;
    const piece = form.querySelector('input[name=piece][type=radio]');
    if (piece && !form.querySelector('input[name=piece]:checked')) piece.click();
    for (const one of form.elements) {
        if (!one.name || ['hidden', 'radio', 'checkbox'].includes(one.type) || one.value) continue;
        if (one.tagName === 'SELECT') {
            if (one.required) one.selectedIndex = [...one.options].findIndex((o) => o.value);
            continue;
        }
        const value = values[one.name] ?? values[one.name.replace(/-\\d+$/, '')];
        if (value === undefined && !one.required) continue;
        one.value = value ?? '1';
        one.dispatchEvent(new Event('input', { bubbles: true }));
    }
}"""
MIDDLE = """(one) => {
    if (!one.isConnected) return null;
    one.scrollIntoView({ block: 'center' });
    const box = one.getClientRects()[0];
    const x = box.left + box.width / 2, y = box.top + box.height / 2;
    const on = document.elementFromPoint(x, y);
    const free = one.getAttribute('aria-disabled') !== 'true' && (one === on || one.contains(on));
    return { x, y, free, on: on?.outerHTML.slice(0, 90) };
}"""


@dataclass(slots=True)
class Wire:
    """What a page sends, and what of it is on its way."""

    sent: list[str] = field(default_factory=list)
    open: set[Request] = field(default_factory=set)

    def watch(self, page: Page) -> None:
        def begun(request: Request) -> None:
            if "/stream" in request.url:
                return
            self.open.add(request)
            if request.method == "POST":
                self.sent.append(re.sub(r"^https?://[^/]+", "", request.url))

        def over(request: Request) -> None:
            self.open.discard(request)

        page.on("request", begun)
        page.on("requestfinished", over)
        page.on("requestfailed", over)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staged]:
    folder = tmp_path_factory.mktemp("house")
    with staged(folder, full_house.HOUR, WAY, full_house) as made:
        keep(made.daemon, "half pan 1", 412_000, "AK")
        yield made


def _alike(found: list[list[str]]) -> list[tuple[str, str]]:
    """Return one of each kind: what differs by its piece, alarm or row alone is tried once."""
    kinds: dict[tuple[str, str], tuple[str, str]] = {}
    for form, name in found:
        if any(form.startswith(one) for one in ELSEWHERE):
            continue
        kind = re.sub(r"[:,].*|\d+|(brisket|butt|pit|spare)-\d+|cabinet|cold-box|barn", "", name)
        kinds.setdefault((re.sub(r"\d+", "", form.partition("?")[0]), kind), (form, name))
    return list(kinds.values())


def _calm(page: Page, wire: Wire) -> None:
    """Wait until nothing is on its way and what came was worked through."""
    for _ in range(400):
        page.wait_for_timeout(15)
        if not wire.open:
            break
    page.wait_for_load_state()


def _twice(page: Page, wire: Wire, x: float, y: float, after_ms: int) -> list[str]:
    """Tap, let the answer come, tap the same spot again; return what was sent."""
    wire.sent.clear()
    page.mouse.click(x, y)
    _calm(page, wire)
    page.clock.run_for(after_ms)
    _calm(page, wire)
    page.mouse.click(x, y)
    _calm(page, wire)
    return list(wire.sent)


def _ready(page: Page, wire: Wire, what: tuple[str, str]) -> dict[str, float] | None:
    """Fill in the form of a button and return where it is tapped, once it rests no more."""
    at = None
    for _ in range(4):
        found = page.evaluate_handle(FIND, list(what)).as_element()
        if found is None:
            return None
        found.evaluate(FILL, VALUES)
        page.clock.run_for(200)
        _calm(page, wire)
        at = found.evaluate(MIDDLE)
        if at and at["free"]:
            break
        page.clock.run_for(RESTED_MS)  # its block came anew, and rests a moment
        _calm(page, wire)
    return at


def _try(
    page: Page, wire: Wire, house: Staged, path: str, what: tuple[str, str], after_ms: int
) -> list[str]:
    page.goto(house.address + path.lstrip("/"))
    page.clock.run_for(RESTED_MS)
    _calm(page, wire)
    at = _ready(page, wire, what)
    if at is None:
        return []  # what was done before took it away
    if not at["free"]:
        return [f"{path} {what} cannot be pressed: {at}"]
    faults = []
    sent = _twice(page, wire, at["x"], at["y"], after_ms)
    if len(sent) > 1:
        faults.append(f"{path} {what} after {after_ms} ms: {sent}")
    for more in (".asked button", "#told button"):
        page.clock.run_for(RESTED_MS)
        _calm(page, wire)
        button = page.locator(more).first
        if not button.count() or not button.is_visible():
            continue
        at = button.evaluate(MIDDLE)
        sent = _twice(page, wire, at["x"], at["y"], after_ms)
        if len(sent) > 1:
            faults.append(f"{path} {what}, then {more}, after {after_ms} ms: {sent}")
    return faults


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staged]:
    """A node without a cook: weights are kept for later, a cook is begun."""
    with staged(tmp_path_factory.mktemp("bare"), None) as made:
        yield made


@pytest.mark.parametrize("after_ms", AFTER_MS)
@pytest.mark.parametrize("path", DAILY)
def test_a_second_tap_sends_nothing(
    house: Staged, browser: Browser, path: str, after_ms: int
) -> None:
    _sweep(house, browser, path, after_ms)


@pytest.mark.nightly
@pytest.mark.parametrize("after_ms", AFTER_MS)
@pytest.mark.parametrize("path", OTHERS)
def test_a_second_tap_sends_nothing_on_any_screen(
    house: Staged, browser: Browser, path: str, after_ms: int
) -> None:
    _sweep(house, browser, path, after_ms)


@pytest.mark.nightly
@pytest.mark.parametrize("after_ms", AFTER_MS)
@pytest.mark.parametrize("path", ["/weigh", "/temp", "/probes", "/begin", "/"])
def test_a_second_tap_sends_nothing_without_a_cook(
    bare: Staged, browser: Browser, path: str, after_ms: int
) -> None:
    _sweep(bare, browser, path, after_ms)


def _sweep(house: Staged, browser: Browser, path: str, after_ms: int) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    context.add_cookies([pairing_cookie(house)])
    page, wire = context.new_page(), Wire()
    wire.watch(page)
    page.clock.install()
    page.goto(house.address + path.lstrip("/"))
    page.clock.pause_at(page.evaluate("Date.now()") + 1000)
    faults: list[str] = []
    kinds = _alike(page.evaluate(LIST))
    for what in kinds:
        faults += _try(page, wire, house, path, what, after_ms)
    context.close()
    assert kinds
    assert not faults, "\n".join(faults)
