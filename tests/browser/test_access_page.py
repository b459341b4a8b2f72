"""A phone is paired by a code, and removed."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from pitlogger.web.access.roles import Role
from tests.browser.conftest import PHONE, Open, rested
from tests.browser.staging import Staged


@pytest.mark.looks
def test_a_link_with_a_code_pairs_a_phone(browser: Browser, stage: Staged) -> None:
    code = stage.access.invite(Role.HANDS)
    with browser.new_context(**PHONE) as context:
        page = context.new_page()
        page.goto(f"{stage.address}pair#{code}")
        expect(page.get_by_label("Code")).to_have_value(code)
        assert "#" not in page.url
        page.get_by_label("Name of this phone").fill("barn phone")
        page.get_by_role("button", name="Pair").click()
        expect(page.locator("#figures")).to_contain_text("brisket-1")


@pytest.mark.looks
def test_a_phone_without_a_key_sees_only_pairing(browser: Browser, stage: Staged) -> None:
    with browser.new_context(**PHONE) as context:
        page = context.new_page()
        page.goto(stage.address)
        expect(page.get_by_label("Code")).to_be_visible()
        assert "brisket" not in page.content()


@pytest.mark.looks
def test_a_wrong_code_is_said_in_words(browser: Browser, stage: Staged) -> None:
    with browser.new_context(**PHONE) as context:
        page = context.new_page()
        page.goto(f"{stage.address}pair")
        page.get_by_label("Code").fill("AAAA-BBBB")
        page.get_by_label("Name of this phone").fill("x")
        page.get_by_role("button", name="Pair").click()
        expect(page.get_by_role("alert")).to_contain_text("wrong or used up")
        expect(page.get_by_label("Name of this phone")).to_have_value("x")


@pytest.mark.looks
def test_what_a_looking_phone_may_not_do_is_not_offered(stage: Staged, open_page: Open) -> None:
    page = open_page("/", role=Role.LOOK)
    for path in ("", "weigh", "temp", "alarms", "food", "weights", "settings", "piece/brisket-1"):
        page.goto(stage.address + path)
        expect(page.locator("#now")).to_be_visible()
        assert page.locator("form[action^='/do/']").count() == 0, path


def test_an_owner_makes_a_code_and_removes_a_phone(stage: Staged, open_page: Open) -> None:
    key = stage.key("lost phone", Role.HANDS)
    page = open_page("/settings")
    page.get_by_role("button", name="Remove lost phone").click()
    expect(page.locator(".sentence")).to_contain_text("Remove lost phone?")
    rested(page)
    page.get_by_role("button", name="Remove it").click()
    expect(page.get_by_role("button", name="Remove lost phone")).to_have_count(0)
    assert stage.access.who(key).role is None
    rested(page)
    page.get_by_role("button", name="Make a code").click()
    expect(page.locator(".answer")).to_contain_text("-")
