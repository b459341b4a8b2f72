"""What is served of our scripts is what they do, without the lines that only explain."""

from __future__ import annotations

from importlib.resources import files

import pytest

from pitlogger.web.page.statics import lean, load_statics

OURS = sorted(
    item.name
    for item in (files("pitlogger.web") / "static").iterdir()
    if item.name.endswith((".mjs", ".css"))
)


def test_comments_on_lines_of_their_own_are_left_out() -> None:
    text = (
        "// one\n/** two\n * lines */\nlet a = 1; // stays\n"
        "  /* in */\n  b(/** @type {any} */ (a));\n"
    )
    assert lean(text) == "let a = 1; // stays\nb(/** @type {any} */ (a));\n"


@pytest.mark.parametrize("name", OURS)
def test_no_code_is_lost(name: str) -> None:
    text = (files("pitlogger.web") / "static" / name).read_text(encoding="utf-8")
    left = set(lean(text).splitlines())
    for line in text.splitlines():
        code = line.strip()
        if code and not code.startswith(("//", "/*", "*")) and not code.endswith("*/"):
            in_a_comment = line.lstrip() not in left
            assert not in_a_comment or _is_within_comment(text, line), line


def _is_within_comment(text: str, line: str) -> bool:
    before = text[: text.index(line)]
    return before.rfind("/*") > before.rfind("*/")


def test_what_is_served_has_no_comment_left_that_stands_alone() -> None:
    for name in OURS:
        served = load_statics().by_name[name].plain.decode()
        assert not any(line.strip().startswith(("//", "/**")) for line in served.splitlines())
