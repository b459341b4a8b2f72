"""Static files: read once, packed once, served under the hash of all of them."""

from __future__ import annotations

import base64
import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

from pitlogger.views.language import language
from pitlogger.views.scripts import spoken

TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
_BLANK = re.compile(r"\n{2,}")
_INDENT = re.compile(r"^[ \t]+", re.MULTILINE)
_COMMENT = re.compile(r"^[ \t]*(?:/\*.*?\*/|//[^\n]*)[ \t]*\n?", re.MULTILINE | re.DOTALL)
_TRAILING = re.compile(r"(?<=[;{}]) // [^\"'`\n]*$", re.MULTILINE)
# A template; <> is one that stands within it.
_TEXT = r"`(?:[^`\\$]|\\.|\$(?!\{)|\$\{(?:[^{}`]|\{[^{}`]*\}|<>)*\})*`"
_APART = re.compile(
    r"""("(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*'|(?<=[(,=:\[!&|?{;] )/(?:[^/\\\n]|\\.)+/"""
    r"""|(?<=[(,=:\[!&|?{;])/(?:[^/\\\n]|\\.)+/|"""
    rf"""{_TEXT.replace("<>", _TEXT.replace("|<>", ""))})"""
    r"""|[ ]*([=?:,;{}()&|<>*!]+)[ ]*"""
)
_AROUND = re.compile(r"\s*([{};])\s*|([:,])\s+")
_CAST = re.compile(r"/\*\* @(?:type|param) [^*]*\*/ ")
_IMPORT = re.compile(r'^import \{ ([^}]+) \} from "\./([\w-]+)\.mjs";$', re.MULTILINE)
_EXPORT = re.compile(r"^export ((?:async )?function|const|class) (\w+)", re.MULTILINE)
# A bare system names the language "C", which the library of the chart cannot use.
_SPOKEN_FIRST = {
    "uplot.js": b"try{Intl.getCanonicalLocales(navigator.language)}catch{"
    b'Object.defineProperty(navigator,"language",{value:document.documentElement.lang})}\n'
}
JOINED = ("page", "chart")  # modules served as one file with all that they import


@dataclass(frozen=True, slots=True)
class Static:
    """A file as served, plain and gzip."""

    name: str
    media_type: str
    plain: bytes
    packed: bytes


@dataclass(frozen=True, slots=True)
class Statics:
    """All static files; their addresses hold ``version``, so they can be kept for ever."""

    version: str
    by_name: dict[str, Static]

    def url(self, name: str) -> str:
        """Return the address of a file; an unknown name is an error of the template."""
        return f"/static/{self.version}/{self.by_name[name].name}"

    def sheet(self) -> str:
        """Return the page's style sheet, to stand in a screen itself."""
        return self.by_name["page.css"].plain.decode()

    def sheet_source(self) -> str:
        """Return what a policy allows that sheet by (CSP Level 3, hash-source)."""
        digest = hashlib.sha256(self.by_name["page.css"].plain).digest()
        return f"'sha256-{base64.b64encode(digest).decode()}'"


def load_statics() -> Statics:
    """Return the static files of the package, with the scripts' texts in the language spoken."""
    return _statics(language())


@cache
def _statics(_language: str) -> Statics:
    found = {}
    root = files("pitlogger.web") / "static"
    for folder in (root, root / "vendor"):
        prefix = "" if folder is root else "vendor/"
        for item in sorted(folder.iterdir(), key=lambda item: item.name):
            static = _static(item, prefix)
            if static is not None:
                found[static.name] = static
    scripts = {name: found.pop(name) for name in list(found) if name.endswith(".mjs")}
    texts = {name.removesuffix(".mjs"): one.plain.decode() for name, one in scripts.items()}
    for name, text in joined(texts).items():
        found[f"{name}.mjs"] = _served(f"{name}.mjs", close_set(text).encode())
    total = hashlib.sha256(b"\0".join(one.name.encode() + one.plain for one in found.values()))
    return Statics(total.hexdigest()[:12], found)


def _static(item: Traversable, prefix: str) -> Static | None:
    media_type = TYPES.get("." + item.name.rpartition(".")[2])
    if media_type is None or not item.is_file():
        return None
    plain = _SPOKEN_FIRST.get(item.name, b"") + item.read_bytes()
    if not prefix and item.name.endswith((".mjs", ".css")):
        plain = spoken(lean(plain.decode())).encode()
    if item.name.endswith(".css"):
        plain = _AROUND.sub(r"\1\2", plain.decode()).replace(";}", "}").encode()
    return _served(prefix + item.name, plain)


def _served(name: str, plain: bytes) -> Static:
    media_type = TYPES["." + name.rpartition(".")[2]]
    return Static(name, media_type, plain, gzip.compress(plain, 9, mtime=0))


def joined(modules: dict[str, str]) -> dict[str, str]:
    """Return the scripts of the first view, each one file with all that it imports, and the others
    with their imports led there: fewer requests, and what is alike is packed once.

    Args:
        modules: Text by name, without ``.mjs``. Within a file every module is a function of its
            own, so that the same name in two of them is no clash; what they export has one owner.
    """
    made: dict[str, str] = {}
    owner: dict[str, str] = {}
    for entry in JOINED:
        order: list[str] = []
        _depth_first(entry, modules, order)
        made[entry] = "".join(_enclosed(modules[name]) for name in order)
        owner |= dict.fromkeys(order, entry)
    for name, text in modules.items():
        if name not in owner:
            made[name] = _IMPORT.sub(
                lambda found: (
                    f'import {{ {found[1]} }} from "./{owner.get(found[2], found[2])}.mjs";'
                ),
                text,
            )
    return made


def _depth_first(name: str, modules: dict[str, str], order: list[str]) -> None:
    for found in _IMPORT.finditer(modules[name]):
        if found[2] not in order:
            _depth_first(found[2], modules, order)
    order.append(name)


def _enclosed(text: str) -> str:
    exported = ", ".join(found[2] for found in _EXPORT.finditer(text))
    body = _EXPORT.sub(r"\1 \2", _IMPORT.sub("", text)).strip()
    if not exported:
        return f"(() => {{\n{body}\n}})();\n"
    return f"export const {{ {exported} }} = (() => {{\n{body}\nreturn {{ {exported} }};\n}})();\n"


def lean(text: str) -> str:
    """Return one of our scripts or style sheets without comments, types, and indents: a phone on
    a slow network need not read them."""
    text = _TRAILING.sub("", _CAST.sub("", _COMMENT.sub("", text)))
    return _BLANK.sub("\n", _INDENT.sub("", text))


def close_set(text: str) -> str:
    """Return a script without the blanks around its marks; what stands in quotes is left alone."""
    return _APART.sub(lambda found: found[1] or found[2], text)
