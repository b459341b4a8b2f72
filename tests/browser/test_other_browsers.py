"""The main way in Firefox and WebKit.

A phone is paired, a cook begun, a piece marked, weighed, read by hand, a stage taken back, an
alarm answered, a dead link seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pitlogger.model.journal import SpotRead, StageSet, Undone, Weighed
from pitlogger.web.access.roles import Role
from tests.browser.conftest import fall_silent
from tests.browser.staging import Staged, staged
from tests.browser.webdriver import Window, firefox, webkit

pytestmark = pytest.mark.nightly
TOLD = "document.getElementById('told').textContent.includes({!r})"


@pytest.fixture(scope="module", params=[firefox, webkit])
def window(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Iterator[Window]:
    with request.param(tmp_path_factory.mktemp("profile")) as made:
        yield made


def _pair(window: Window, stage: Staged) -> None:
    window.open(f"{stage.address}pair")
    window.ask("DeleteAllCookies")  # of the node before this one
    window.open("about:blank")
    window.open(f"{stage.address}pair#{stage.access.invite(Role.OWNER)}")
    window.until("document.getElementById('code').value")
    window.write("[name=name]", "barn phone")
    window.write("[name=by]", "MO")
    window.tap("button", "Pair")
    window.until("location.pathname === '/' && document.getElementById('sentence')")


def _kept(stage: Staged, kind: type) -> int:
    return sum(isinstance(one.body, kind) for one in stage.daemon.engine.state.entries)


def test_a_phone_is_paired_and_begins_a_cook(window: Window, tmp_path: Path) -> None:
    with staged(tmp_path, None) as stage:
        _pair(window, stage)
        window.tap("a.button", "Begin a cook")
        window.until("location.pathname === '/begin' && document.getElementById('begin-form')")
        window.write("[name=name]", "orchard supper")
        window.run("document.querySelector('[name=cut-1]').value = 'brisket-packer'")
        window.tap("#begin-form button.main")
        window.until(
            "location.pathname === '/probes' && document.querySelector('main').textContent"
        )
        assert stage.daemon.cook is not None


def test_a_piece_is_marked_and_taken_back(window: Window, tmp_path: Path) -> None:
    with staged(tmp_path) as stage:
        _pair(window, stage)
        marked = _kept(stage, StageSet)
        window.tap("button", "Off the pit: brisket-1")
        window.until(TOLD.format("off the pit"))
        window.until("!document.querySelector('#told [aria-disabled]')")
        window.tap("#told button", "Undo")
        window.until(TOLD.format("taken back"))
        assert (_kept(stage, StageSet), _kept(stage, Undone)) == (marked + 1, 1)


def test_the_chart_comes_and_a_piece_is_weighed_and_read(window: Window, tmp_path: Path) -> None:
    with staged(tmp_path) as stage:
        _pair(window, stage)
        weighed, read = _kept(stage, Weighed), _kept(stage, SpotRead)
        window.until("document.querySelector('#joined canvas')")
        stage.scale_g = 3900.0
        window.open(f"{stage.address}weigh")
        window.until("document.querySelector('[data-part=net]').textContent === '8 lb 9.6 oz'")
        window.tap(".pick", "brisket-1")
        window.run("document.querySelector('[name=checkpoint]').value = 'unwrapped'")
        window.until("document.querySelector('#weigh-form button.main:not([aria-disabled])')")
        window.tap("#weigh-form button.main", "Keep for brisket-1")
        window.tap("#weigh-form button.main")  # a second tap does nothing
        window.until(TOLD.format("8 lb 9.6 oz"))
        assert _kept(stage, Weighed) == weighed + 1

        window.open(f"{stage.address}temp")
        window.until("document.querySelector('#pad-value button')")
        window.until("performance.now() > 1600")  # what stands where the last tap was rests
        window.tap(".pick", "butt-1")
        for key in "198":
            window.tap("#pad-value button", key)
        window.tap("#temp-form button.main", "Keep 198 °F for butt-1")
        window.until(TOLD.format("198.0 F by hand"))
        assert _kept(stage, SpotRead) == read + 1


def test_an_alarm_is_answered_and_a_dead_link_is_seen(window: Window, tmp_path: Path) -> None:
    with staged(tmp_path) as stage:
        stage.call(lambda: fall_silent(stage))
        _pair(window, stage)
        window.tap("#worst button", "Got it, all 4")
        window.until(TOLD.format("Seen: 4 of 4"))
        stage.daemon.fanout.publish = lambda *given: None  # type: ignore[method-assign]
        window.until("!document.getElementById('link').hidden && document.title.startsWith('OLD')")
        del stage.daemon.fanout.publish
        window.until("document.getElementById('link').hidden")
