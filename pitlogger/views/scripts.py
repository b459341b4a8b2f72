"""The texts of the page's scripts: translated when a script is served, so that none costs a byte.

A script writes ``tr("Kept")`` or ``tr(`Heard at ${kept.at}.`)``; the key is the text, with each
expression as a field named by its last word: ``Heard at {at}.``
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pitlogger.views.language import tr

_TEXT = re.compile(r'\btr\((?:"([^"\\]*)"|`([^`\\]*)`)\)')
_EXPRESSION = re.compile(r"\$\{([^{}]*?(\w+))\}")
_FIELD = re.compile(r"\{(\w+)\}")


def texts(script: str) -> Iterator[tuple[int, str]]:
    """Yield the texts of a script, each with its line."""
    for found in _TEXT.finditer(script):
        yield script.count("\n", 0, found.start()) + 1, _key(found)


def spoken(script: str) -> str:
    """Return a script with its texts in the language spoken."""
    return _TEXT.sub(_literal, script)


def _key(found: re.Match[str]) -> str:
    return _EXPRESSION.sub(r"{\2}", found[1] or found[2])


def _literal(found: re.Match[str]) -> str:
    fields = {name: f"${{{whole}}}" for whole, name in _EXPRESSION.findall(found[0])}
    text = re.sub(r"[\\`$]", r"\\\g<0>", tr(_key(found)))
    return f"`{_FIELD.sub(lambda field: fields[field[1]], text)}`"
