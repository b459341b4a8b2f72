"""Sentences made in English far from who reads them, and said in the reader's language here.

The core, drivers' hosts and readers of files know no language: they make English sentences, and
the journal keeps them so. ``template`` collects them from the sources, each expression of an
f-string as a field named by its last word; ``told`` finds which of them a sentence is, and says
it by its translation.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from functools import cache, lru_cache

from pitlogger.views.language import Language, spoken_now

# Rooms whose sentences are shown; those of the commands are read where English is typed.
ROOMS = frozenset({
    "devices", "engine", "forecast", "formats", "inference", "model", "node", "notify", "planning",
    "rules", "safety", "uplink", "views", "web", "yields", "errors.py", "questions.py",
})  # fmt: skip
_ELSEWHERE = frozenset({"tr", "trn", "mark", "compile", "execute", "NewType", "TypeVar"})
_LEAST_LETTERS = 5  # of a text with fields: "{from} to {to}" is no sentence of its own
_FIELD = re.compile(r"\{(\w+)\}")
_NAME = re.compile(r"[A-Za-z_]\w*")
_ASIDE = re.compile(r"'[^']*'|\"[^\"]*\"|\([^()]*\)")
_WORD = re.compile(r"[A-Za-z]{2,}")
_CLAUSES = ("; ", ": ", ". ", ", ", " (", " and ")
_LAST_WHOLE = ": "
# Fields that hold words of ours and never a name that a person gave.
_WORDS = frozenset({
    "stage", "target", "checkpoint", "cut", "cut_word", "kind", "state", "action",
    "service", "start",
})  # fmt: skip


def sentences(source: bytes) -> Iterator[tuple[int, str]]:
    """Yield the sentences of a module that are not marked as texts, each with its line."""
    tree = ast.parse(source)
    left_out = set(_not_said(tree))
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.JoinedStr):
            key = _key(node)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            key = node.value
        else:
            continue
        key = key.strip(" ,;:").removeprefix("(")
        letters = sum(map(len, _WORD.findall(_FIELD.sub(" ", key))))
        if " " in key and "\n" not in key and letters >= _LEAST_LETTERS:
            yield node.lineno, key


def _not_said(tree: ast.AST) -> Iterator[int]:
    """Yield what no person reads, is marked as a text, or is a part of an f-string."""
    for node in ast.walk(tree):
        inner: Iterator[ast.AST] = iter(())
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            inner = iter([node.value])
        elif isinstance(node, ast.Call):
            of = node.func
            name = of.attr if isinstance(of, ast.Attribute) else getattr(of, "id", "")
            is_log = isinstance(of, ast.Attribute) and getattr(of.value, "id", "") == "log"
            inner = ast.walk(node) if is_log or name in _ELSEWHERE else inner
        elif isinstance(node, ast.JoinedStr):
            inner = (one for one in ast.walk(node) if one is not node)
        yield from map(id, inner)


def _key(made: ast.JoinedStr) -> str:
    names: dict[str, str] = {}
    key = ""
    for part in made.values:
        if isinstance(part, ast.FormattedValue):
            expression = ast.unparse(part.value)
            name = next(reversed(_NAME.findall(_ASIDE.sub("", expression))), "x")
            while names.setdefault(name, expression) != expression:
                name += "_"
            key += f"{{{name}}}"
        elif isinstance(part, ast.Constant):
            key += str(part.value).replace("{", "{{").replace("}", "}}")
    return key


def told(text: str) -> str:
    """Return an English sentence in the language spoken; as it is where it is none of ours."""
    spoken = spoken_now()
    return _told(spoken, text) if spoken.texts_of_fields and " " in text else text


@lru_cache(maxsize=2048)
def _told(spoken: Language, text: str) -> str:
    found = _whole(spoken, text)
    if found is not None:
        return found
    for between in _CLAUSES:
        parts = text.split(between)
        for count in range(len(parts) - 1, 0, -1):
            made = [between.join(parts[:count]), between.join(parts[count:])]
            known = [_whole(spoken, one) if " " in one else None for one in made]
            if known != [None, None]:
                pairs = zip(known, made, strict=True)
                return between.join(of or _clause(spoken, one) for of, one in pairs)
        if between == _LAST_WHOLE and _CLAUSES[0] in text:
            break  # what stands between semicolons is no part of what stands around them
    for between in _CLAUSES:
        head, mark, rest = text.partition(between)
        said = f"{_clause(spoken, head)}{mark}{_clause(spoken, rest)}" if mark else text
        if said != text:
            return said
    return text


def _clause(spoken: Language, text: str) -> str:
    return _told(spoken, text) if " " in text.strip() else text


def _whole(spoken: Language, text: str) -> str | None:
    """Return a sentence that is one of ours as a whole, also with another beginning or end."""
    found: list[tuple[int, str]] = []
    for plain in dict.fromkeys((text, text.rstrip("."), f"{text}.")):
        for english in dict.fromkeys((plain, plain[:1].lower() + plain[1:])):
            for letters, as_ours in _exactly(spoken, english):
                said = as_ours[:1].upper() + as_ours[1:] if english != plain else as_ours
                has_end = text.endswith(".") and not plain.endswith(".")
                found.append((letters, f"{said}." if has_end else said))
    return max(found, key=lambda one: one[0])[1] if found else None


def _exactly(spoken: Language, text: str) -> Iterator[tuple[int, str]]:
    """Yield what a text is in the language spoken, with how many letters of it are ours."""
    said = spoken.texts.gettext(text)
    if said != text:
        yield len(text), said
        return
    possible = {one for word in _WORD.findall(text) for one in _by_word(spoken).get(word, ())}
    for key in sorted(possible, key=lambda one: (-len(_FIELD.sub("", one)), one)):
        match, said = _pattern(key).fullmatch(text), spoken.texts.gettext(key)
        if match is not None and said != key:
            yield len(_FIELD.sub("", key)), said.format(**{
                name: _told(spoken, value) if " " in value or name.rstrip("_") in _WORDS else value
                for name, value in match.groupdict().items()
            })  # fmt: skip
            return


@cache
def _by_word(spoken: Language) -> dict[str, list[str]]:
    """Return the texts with fields by the longest word that each has."""
    found = defaultdict(list)
    for key in spoken.texts_of_fields:
        words = _WORD.findall(_FIELD.sub(" ", key))
        if sum(map(len, words)) >= _LEAST_LETTERS:
            found[max(words, key=len)].append(key)
    return found


@cache
def _pattern(key: str) -> re.Pattern[str]:
    """Return what a text looks like with its fields filled in."""
    seen: set[str] = set()
    made = ""
    for at, part in enumerate(_FIELD.split(key.replace("{{", "\x00").replace("}}", "\x01"))):
        if at % 2 == 0:
            made += re.escape(part.replace("\x00", "{").replace("\x01", "}"))
        elif part in seen:
            made += f"(?P={part})"
        else:  # of two fields without a word between them the first holds both
            made += f"(?P<{part}>)" if made.endswith("?)") else f"(?P<{part}>.*?)"
            seen.add(part)
    return re.compile(made, re.DOTALL)
