"""Texts of the page's scripts are in the catalogue and served in the language spoken."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

import pytest

from pitlogger.views.language import speaking
from pitlogger.views.scripts import spoken, texts
from pitlogger.views.template import template
from pitlogger.web.page.statics import load_statics

SCRIPTS = [
    item for item in (files("pitlogger.web") / "static").iterdir() if item.name.endswith(".mjs")
]
# What is no word of ours to a person: names of keys, events, headers and shapes of data.
_LITERAL = re.compile(r'(?<![\w(`])(?:"([A-Z][a-z]+ [^"]*[a-z])"|`([A-Z][a-z]+ [^`]*)`)')


@cache
def _catalogue() -> str:
    return template().decode().replace('"\n"', "")


def test_fields_are_named_by_the_last_word_of_their_expression() -> None:
    script = 'a(tr("Kept"));\nb(tr(`Heard at ${kept.at}, ${FOR_S} s.`));'
    assert list(texts(script)) == [(1, "Kept"), (2, "Heard at {at}, {FOR_S} s.")]
    assert spoken(script) == "a(`Kept`);\nb(`Heard at ${kept.at}, ${FOR_S} s.`);"


def test_a_translation_moves_its_fields_and_can_break_no_script() -> None:
    with speaking("en-XA"):
        told = spoken("tr(`${one.label}: not done. ${one.refused}`)")
    assert told.startswith("`${one.label}: ")
    assert "${one.refused}" in told
    assert "not done" not in told


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda item: item.name)
def test_every_sentence_of_a_script_is_in_the_catalogue(script: object) -> None:
    text = script.read_text(encoding="utf-8")  # type: ignore[attr-defined]
    without = re.sub(r'\btr\((?:"[^"]*"|`[^`]*`)\)|/\*.*?\*/|//.*', "", text, flags=re.DOTALL)
    without = "\n".join(re.sub(r"//.*", "", line) for line in without.splitlines())
    assert [found[0] for found in _LITERAL.finditer(without)] == []
    known = _catalogue()
    for _, key in texts(text):
        assert key[:40] in known


def test_what_is_served_has_no_text_left_to_look_up() -> None:
    for tag in ("en", "en-XA"):
        with speaking(tag):
            statics = load_statics()
            served = [one for one in statics.by_name.values() if one.name.endswith(".mjs")]
            assert served
            assert not any(b"tr(" in re.sub(rb"\w+tr\(", b"", one.plain) for one in served)
            bell = statics.by_name["bell.mjs"].plain.decode()
            assert ("Not armed: this phone" in bell) == (tag == "en")
