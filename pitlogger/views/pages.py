"""Templates whose plain English is the key to its translation: no text in them can be forgotten.

Before a template is compiled, each run of words between tags, each label attribute and each
literal of an expression that begins with a capital letter, or goes on after a blank, becomes a
call of ``tr``. Expressions within a run become its ``{fields}``: ``Since {{ a.at }}`` is the text
``Since {at}``. The result is escaped like any other value. A call of a macro, a filter that marks
HTML, and a statement end a run. Lines keep their numbers. A sentence that comes as a value was
made in English elsewhere and is said in the language spoken (``sentences``).
"""

from __future__ import annotations

import re
from html import unescape

from jinja2 import BaseLoader, Environment, StrictUndefined
from jinja2.ext import Extension
from markupsafe import Markup

from pitlogger.views.language import direction, language, tr, trn
from pitlogger.views.sentences import told

_PIECE = re.compile(
    r"(?P<comment>\{#.*?#\})"
    r"|(?P<statement>\{%.*?%\})"
    r"|(?P<raw><(?P<name>script|style)\b.*?</(?P=name)>)"
    r"|(?P<tag><[!/A-Za-z](?:\{\{.*?\}\}|\{%.*?%\}|[^>])*>)"
    r"|(?P<run>(?:\{\{.*?\}\}|(?!\{[#%])[^<])+)"
    r"|(?P<other>.)",
    re.DOTALL,
)
_ATTRIBUTE = re.compile(
    r"""(?P<head>\s(?:aria-label|label|placeholder|title|alt|data-say|data-at)=)"(?P<text>(?:\{\{.*?\}\}|\{%.*?%\}|[^"])*)\""""
)
_EXPRESSION = re.compile(r"\{\{(.*?)\}\}", re.DOTALL)
_SPLIT = re.compile(r"(\{%.*?%\})", re.DOTALL)
_MARKUP = re.compile(r"^\s*-?\s*\w+\(|\|\s*(?:safe|svg|tojson)\b")
_LITERAL = re.compile(r"(?<!\w)(tr\()?'([^'{}]*)'")
_TEXT = re.compile(r"[A-Z].*[a-z]|,? [a-z]{3}", re.DOTALL)
_WORD = re.compile(r"[A-Za-z]{2}")
_NAME = re.compile(r"[A-Za-z_]\w*")


class PlainTexts(Extension):
    """Makes the plain English of templates translatable."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        return "".join(_piece(match) for match in _PIECE.finditer(source))


def environment(loader: BaseLoader) -> Environment:
    """Return an environment for templates of plain English: escaped, nothing undefined."""
    made = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[PlainTexts],
    )
    made.globals.update(tr=tr, trn=trn, said_here=_said, language=language, direction=direction)
    return made


def _said(value: object) -> object:
    """Return a value as it is shown: a sentence in the language spoken."""
    is_sentence = isinstance(value, str) and not isinstance(value, Markup) and " " in value
    return told(str(value)) if is_sentence else value


def _piece(match: re.Match[str]) -> str:
    text = match[0]
    match match.lastgroup:
        case "statement":
            return _literals(text)
        case "tag":
            return _ATTRIBUTE.sub(_attribute, text)
        case "run":
            return _run(text)
        case _:
            return text


def _attribute(match: re.Match[str]) -> str:
    return (
        match["head"]
        + '"'
        + "".join(
            part if part.startswith("{%") else _run(part) for part in _SPLIT.split(match["text"])
        )
        + '"'
    )


def _run(text: str) -> str:
    """Return a run of words as calls of ``tr``, broken where HTML is put in."""
    parts: list[str] = []
    run = ""
    for part in re.split(r"(\{\{.*?\}\})", text, flags=re.DOTALL):
        inside = _EXPRESSION.fullmatch(part)
        if inside is not None and _MARKUP.search(inside[1]):
            parts += [_called(run), _literals(part)]
            run = ""
        else:
            run += part
    return "".join([*parts, _called(run)])


def _called(run: str) -> str:
    words = _EXPRESSION.sub("", run)
    if not _WORD.search(unescape(words)):
        return _EXPRESSION.sub(lambda of: f"{{{{ said_here({_literals(of[1].strip())}) }}}}", run)
    fields: dict[str, str] = {}

    def field(match: re.Match[str]) -> str:
        expression = match[1].strip()
        known = next((name for name, of in fields.items() if of == expression), None)
        if known is None:
            base = next(reversed(_NAME.findall(re.sub(r"'[^']*'|\([^)]*\)", "", expression))), "x")
            known = base if base not in fields else f"{base}{len(fields)}"
            fields[known] = expression
        return f"\x00{known}\x01"

    message = _EXPRESSION.sub(field, run)
    head = message[: len(message) - len(message.lstrip())]
    tail = message[len(message.rstrip()) :]
    key = re.sub(r"\s+", " ", unescape(message.strip()))
    if fields:
        key = key.replace("{", "{{").replace("}", "}}")
    key = key.replace("\x00", "{").replace("\x01", "}").replace("\\", "\\\\").replace('"', '\\"')
    lines = "\n" * message.strip().count("\n")
    given = "".join(f", {name}=said_here({_literals(of)})" for name, of in fields.items())
    return f'{head}{{{{ tr("{key}"{given}){lines} }}}}{tail}'


def _literals(text: str) -> str:
    """Return expressions with each literal that is a text for people as a call of ``tr``."""
    return _LITERAL.sub(
        lambda of: f"tr('{of[2]}')" if not of[1] and _TEXT.match(of[2]) else of[0], text
    )
