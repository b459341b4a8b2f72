"""The texts there are to translate, taken from the package itself, so that none is ever stale.

``template`` is what a translator begins with; ``pseudo`` is a language made of it, which shows
what was not marked, where words were put together, and where a longer text has no room.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from io import BytesIO
from itertools import chain
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from jinja2 import DictLoader
from jinja2.ext import extract_from_ast

from pitlogger.rules.messages import LIMIT_TEXTS, OVER, UNDER
from pitlogger.safety.judge import NOTES
from pitlogger.safety.record import SHEETS
from pitlogger.safety.verdict import in_words
from pitlogger.views import scripts
from pitlogger.views.pages import environment
from pitlogger.views.sentences import ROOMS, sentences

_HEAD = "# Texts of pitlogger. Translate each msgid into its msgstr; keep {fields} as they are."
_TEXTS_OF = {"mark": 1, "tr": 1, "trn": 2}  # how many of its arguments are texts
# Keys of data files that hold sentences for people.
_SENTENCES = ("title", "cause", "consequence", "remedy", "act_within", "heading", "label")
_WORDS = "/words.toml"
_ACCENTED = str.maketrans(
    "AaBbCcDdEeFfGgHhIiJjKkLlMmNnOoPpRrSsTtUuVvWwXxYyZz",
    "ÅåƁƀĆćĎďÉéƑƒĜĝĤĥÎîĴĵĶķĻļṀṁÑñÖöƤƥŔŕŠšŢţÛûṼṽŴŵẊẋÝýŽž",
)
_FIELD = re.compile(r"(\{[^{}]*\})")
_LONGER = 0.4  # how much longer: common practice for texts of this length, no source


@cache  # a package does not change while it runs
def template() -> bytes:
    """Return all texts as a ``.po`` template."""
    return _written(_catalog())


@cache
def pseudo() -> bytes:
    """Return the pseudo-locale as a ``.po`` file: accented, and two fifths longer."""
    catalog = _catalog()
    for message in catalog:
        if message.id:
            forms = (message.id,) if isinstance(message.id, str) else tuple(message.id)
            told = tuple(accented(form) for form in forms)
            message.string = told[0] if isinstance(message.id, str) else told
    return _written(catalog)


def accented(text: str) -> str:
    """Return a text with accents and longer, its ``{fields}`` untouched."""
    parts = _FIELD.split(text)
    told = "".join(part if _FIELD.fullmatch(part) else part.translate(_ACCENTED) for part in parts)
    letters = sum(len(part) for part in parts if not _FIELD.fullmatch(part))
    core = told.rstrip()
    return f"{core}{'~' * max(1, round(letters * _LONGER))}{told[len(core) :]}"


def _catalog() -> Catalog:
    catalog = Catalog(project="pitlogger", charset="utf-8", fuzzy=False, locale="en",
                      header_comment=_HEAD)  # fmt: skip
    for message in (
        *SHEETS.values(),
        *NOTES,
        *map(in_words, (True, False, None)),
        OVER,
        UNDER,
        *chain(*LIMIT_TEXTS.values()),
    ):
        catalog.add(message, locations=[("pitlogger/safety", 1)])
    for file, place in _files(resources.files("pitlogger"), "pitlogger"):
        for line, message in _messages(place, file.read_bytes):
            catalog.add(message, locations=[(place, line)])
    return catalog


def _messages(place: str, read: Callable[[], bytes]) -> Iterator[tuple[int, Any]]:
    """Yield the texts of a file, each with its line."""
    if place.endswith(".py"):
        for call in ast.walk(ast.parse(read())):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name):
                count = _TEXTS_OF.get(call.func.id, 0)
                texts = [arg.value for arg in call.args[:count] if isinstance(arg, ast.Constant)]
                if count and len(texts) == count:
                    yield call.lineno, texts[0] if count == 1 else tuple(texts)
        if place.split("/")[1] in ROOMS:
            yield from sentences(read())
    elif place.endswith(".html"):
        parsed = environment(DictLoader({})).parse(read().decode())
        for line, name, found in extract_from_ast(parsed, tuple(_TEXTS_OF), babel_style=False):
            forms = found if isinstance(found, tuple) else (found,)
            yield line, forms if name == "trn" else forms[0]
    elif place.endswith(".mjs"):
        yield from scripts.texts(read().decode())
    elif place.endswith((_WORDS, "_form.toml")) or ("/policy/" in place and ".toml" in place):
        for text in _sentences(tomllib.loads(read().decode()), is_all=place.endswith(_WORDS)):
            yield 1, text


def _sentences(table: Mapping[str, Any], is_all: bool) -> Iterator[str]:
    for key, value in table.items():
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict):
                yield from _sentences(inner, is_all)
        if (is_all or key in _SENTENCES) and isinstance(value, str):
            yield value


def _files(folder: Traversable, place: str) -> Iterator[tuple[Traversable, str]]:
    for file in sorted(folder.iterdir(), key=lambda one: one.name):
        inside = f"{place}/{file.name}"
        if file.is_dir():
            yield from _files(file, inside)
        else:
            yield file, inside


def _written(catalog: Catalog) -> bytes:
    text = BytesIO()
    write_po(text, catalog, sort_output=True)
    return text.getvalue()
