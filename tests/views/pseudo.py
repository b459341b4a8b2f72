"""What of a document shows without accents in the pseudo-locale: it was not translated."""

from __future__ import annotations

import re
from html.parser import HTMLParser

ACCENTED = re.compile(r"[^\W\d_a-zA-Z]")
WORD = re.compile(r"[A-Za-z]{3,}")
SHOWN = {"aria-label", "placeholder", "title", "alt", "label"}


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in ("script", "style")
        self.found += [value for name, value in attrs if name in SHOWN and value]

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._hidden and data.strip():
            self.found.append(" ".join(data.split()))


def untranslated(html: str, known: set[str]) -> list[str]:
    """Return the texts of a document with words that are neither accented nor known.

    Args:
        known: Ids, names, units and citations: what is the same in every language.
    """
    reader = _Texts()
    reader.feed(html)
    return [text for text in reader.found if _plain(text, known)]


def _plain(text: str, known: set[str]) -> bool:
    for name in sorted(known, key=len, reverse=True):
        text = text.replace(name, " ")
    words = re.findall(r"[\w-]+", text)
    return any(WORD.fullmatch(word) and not ACCENTED.search(word) for word in words)
