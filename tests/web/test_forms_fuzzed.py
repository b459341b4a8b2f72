"""Every form of every screen, wrong values in each field: told, never a fault nobody foresaw.

The forms are found by following the links of the page, so that a new one is tried unasked.
``PITLOGGER_WRONG=all`` tries all values in each field; otherwise each field gets two of them.
"""

from __future__ import annotations

import os
import random
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

from .conftest import Node
from .test_written_page import cooked

WRONG = (
    "", " ", "-5", "0", "1e308", "NaN", "12 lbs 3", "6,1", "x" * 300, "<b>bold</b>", "\u202eabc",
    "\U0001f525", "a\x00b", "../../etc/passwd", "2020-01-01T00:00", "9" * 40, "{}", "%s", "'",
)  # fmt: skip
BROKE = "it failed, and the log says why"  # a fault that nobody foresaw
# What a form of this name does is no field's fault: it ends the session that asks.
LEFT_OUT = frozenset({"/code", "/enter", "/pair"})


@dataclass
class Form:
    """A form: where it goes, its method, and its fields with what stands in them."""

    action: str
    method: str
    fields: dict[str, str] = field(default_factory=dict)


class Forms(HTMLParser):
    """Collects forms and links of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.links: list[str] = []
        self._select = ""
        self._area = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name = given.get("name", "")
        if tag == "a" and given.get("href", "").startswith("/"):
            self.links.append(given["href"])
        elif tag == "form":
            self.forms.append(Form(given.get("action", ""), given.get("method", "get").lower()))
        elif not self.forms:
            return
        elif tag == "input" and name and given.get("type") not in ("checkbox", "radio", "file"):
            self.forms[-1].fields[name] = given.get("value", "")
        elif tag == "textarea" and name:
            self.forms[-1].fields[name] = ""
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select:
            self.forms[-1].fields.setdefault(self._select, given.get("value", ""))
        if tag == "option" and "selected" in given and self._select:
            self.forms[-1].fields[self._select] = given.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""


async def screens(node: Node, headers: dict[str, str]) -> dict[str, Forms]:
    """Return each screen that can be reached, with its forms."""
    waiting, found = ["/"], dict[str, Forms]()
    while waiting:
        path = waiting.pop()
        if path in found or len(found) > 150:
            continue
        answer = await node.network.get(path, headers=headers)
        assert answer.status_code < 500, path
        if "text/html" not in answer.headers.get("content-type", ""):
            continue
        found[path] = Forms(answer.text)
        waiting += [one.partition("#")[0] for one in found[path].links]
    return found


async def test_wrong_values_in_any_form_are_told(node: Node) -> None:
    await cooked(node)
    await node.begin()
    await node.daemon.flushed()
    rng = random.Random(7)
    headers = {**node.cookie(), "Accept": "text/html"}
    tried, seen = 0, set[tuple[str, str]]()
    for path, page in (await screens(node, headers)).items():
        for form in page.forms:
            where = urljoin(path, form.action)
            if urlsplit(where).path in LEFT_OUT:
                continue
            for name in form.fields:
                if (urlsplit(where).path, name) in seen:
                    continue
                seen.add((urlsplit(where).path, name))
                some = WRONG if os.environ.get("PITLOGGER_WRONG") else rng.sample(WRONG, 2)
                for value in some:
                    given = {**form.fields, name: value}
                    if form.method == "post":
                        answer = await node.network.post(where, data=given, headers=headers)
                    else:
                        answer = await node.network.get(where, params=given, headers=headers)
                    tried += 1
                    assert BROKE not in answer.text, (where, name, value)
                    assert "Traceback" not in answer.text, (where, name, value)
    assert tried > 300, "the forms were not found"
