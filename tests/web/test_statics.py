"""What is served of our scripts is what they do, without the lines that only explain."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from pitlogger.web.page.statics import close_set, joined, lean, load_statics

OURS = sorted(
    item.name
    for item in (files("pitlogger.web") / "static").iterdir()
    if item.name.endswith((".mjs", ".css"))
)


def test_comments_are_left_out() -> None:
    text = (
        "// one\n/** two\n * lines */\nlet a = 1; // goes\nlet b = 'x; // stays';\n"
        "  /* in */\n  b(/** @type {any} */ (a));\n"
    )
    assert lean(text) == "let a = 1;\nlet b = 'x; // stays';\nb((a));\n"


@pytest.mark.parametrize("name", OURS)
def test_no_code_is_lost(name: str) -> None:
    text = (files("pitlogger.web") / "static" / name).read_text(encoding="utf-8")
    left = set(lean(text).splitlines())
    text = re.sub(r"(?<=[;{}]) // [^\"'`\n]*$", "", text, flags=re.MULTILINE)
    for line in re.sub(r"/\*\* @(type|param) [^*]*\*/ ", "", text).splitlines():
        code = line.strip()
        if code and not code.startswith(("//", "/*", "*")) and not code.endswith("*/"):
            in_a_comment = line.lstrip() not in left
            assert not in_a_comment or _is_within_comment(text, line), line


def _is_within_comment(text: str, line: str) -> bool:
    before = text[: text.index(line)]
    return before.rfind("/*") > before.rfind("*/")


def test_what_is_served_has_no_comment_left_that_stands_alone() -> None:
    ours = [one for one in load_statics().by_name.values() if "/" not in one.name]
    assert len(ours) > 10
    for one in ours:
        lines = one.plain.decode().splitlines()
        assert not any(line.strip().startswith(("//", "/**")) for line in lines)


def test_modules_of_the_first_view_are_one_file_and_each_has_one_instance() -> None:
    made = joined(
        {
            "page": 'import { one } from "./a.mjs";\nimport { two } from "./b.mjs";\none(two);\n',
            "a": 'import { two } from "./b.mjs";\nconst own = 1;\nexport function one() {}\n',
            "b": "const own = 2;\nexport const two = own;\n",
            "chart": "export class Chart {}\n",
            "later": 'import { two } from "./b.mjs";\ntwo;\n',
        }
    )
    assert set(made) == {"page", "chart", "later"}
    assert made["page"].count("const own = 2") == 1
    assert made["page"].index("const { two }") < made["page"].index("const { one }")
    assert made["page"].endswith("(() => {\none(two);\n})();\n")
    assert made["later"] == 'import { two } from "./page.mjs";\ntwo;\n'


def test_no_name_is_exported_twice_in_a_joined_file() -> None:
    for name in ("page.mjs", "chart.mjs"):
        text = load_statics().by_name[name].plain.decode()
        exported = re.findall(r"^export const\{(.*?)\}=", text, re.MULTILINE)
        names = [one for line in exported for one in line.split(",")]
        assert len(names) == len(set(names)) > 5
        assert not re.search(r"^import ", text, re.MULTILINE)


@pytest.mark.parametrize("name", [name for name in OURS if name.endswith(".mjs")])
def test_only_blanks_outside_of_quotes_are_left_out(name: str) -> None:
    text = lean((files("pitlogger.web") / "static" / name).read_text(encoding="utf-8"))
    made = close_set(text)
    assert close_set(made) == made
    assert made.replace(" ", "") == text.replace(" ", "")
    assert _quoted(made) == _quoted(text)
    assert len(made) < len(text)


def _quoted(text: str) -> list[str]:
    """Return what stands in quotes, found letter by letter; within a template what it says."""
    found: list[str] = []
    inside = [""]  # the quotes and braces that are open, the last one innermost
    words, before = "", ""
    at = 0
    while at < len(text):
        one = text[at]
        if inside[-1] in ("", "{"):
            if one in "\"'`" or (one == "/" and before in "(,=:[!&|?{;"):
                inside.append(one)
                words = ""
            elif one == "{":
                inside.append("{")
            elif one == "}":
                inside.pop()
                words = ""
            before = one if one != " " else before
        elif one == "\\":
            words += text[at : at + 2]
            at += 1
        elif one == inside[-1]:
            inside.pop()
            found.append(words)
        elif inside[-1] == "`" and text.startswith("${", at):
            found.append(words)
            inside.append("{")
            at += 1
        else:
            words += one
        at += 1
    assert inside == [""]
    return found
