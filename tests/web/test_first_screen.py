"""The first screen holds its own style; later ones name the sheet that the browser keeps."""

from __future__ import annotations

import base64
import hashlib
import re

from pitlogger.web.page.statics import load_statics
from tests.web.conftest import Node


async def test_the_first_screen_holds_the_sheet_its_policy_allows(node: Node) -> None:
    answer = await node.network.get("/", headers=node.cookie())
    (style,) = re.findall(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = answer.headers["Content-Security-Policy"]
    assert f"style-src 'self' 'sha256-{digest}'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "page.css" not in answer.text


async def test_a_browser_that_has_the_sheet_is_sent_its_address(node: Node) -> None:
    headers = node.cookie()
    headers["Cookie"] += f"; sheet={load_statics().version}"
    answer = await node.network.get("/", headers=headers)
    assert "<style>" not in answer.text
    assert load_statics().url("page.css") in answer.text
    assert "style-src" not in answer.headers["Content-Security-Policy"]


async def test_a_sheet_of_another_version_is_not_relied_on(node: Node) -> None:
    headers = node.cookie()
    headers["Cookie"] += "; sheet=older"
    assert "<style>" in (await node.network.get("/", headers=headers)).text
