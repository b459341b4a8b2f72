"""Static files: read once, packed once, served under the hash of all of them."""

from __future__ import annotations

import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

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


@cache
def load_statics() -> Statics:
    """Return the static files of the package."""
    found = {}
    root = files("pitlogger.web") / "static"
    for folder in (root, root / "vendor"):
        prefix = "" if folder is root else "vendor/"
        for item in sorted(folder.iterdir(), key=lambda item: item.name):
            static = _static(item, prefix)
            if static is not None:
                found[static.name] = static
    total = hashlib.sha256(b"\0".join(one.name.encode() + one.plain for one in found.values()))
    return Statics(total.hexdigest()[:12], found)


def _static(item: Traversable, prefix: str) -> Static | None:
    media_type = TYPES.get("." + item.name.rpartition(".")[2])
    if media_type is None or not item.is_file():
        return None
    plain = item.read_bytes()
    if not prefix and item.name.endswith((".mjs", ".css")):
        plain = lean(plain.decode()).encode()
    return Static(prefix + item.name, media_type, plain, gzip.compress(plain, 9, mtime=0))


def lean(text: str) -> str:
    """Return one of our scripts or style sheets without the comments that stand on lines of
    their own, and without indents: a phone on a slow network need not read them."""
    return _BLANK.sub("\n", _INDENT.sub("", _COMMENT.sub("", text)))
