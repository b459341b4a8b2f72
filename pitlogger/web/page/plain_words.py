"""Messages as a page says them: what a terminal would be told to type is a place of the page."""

from __future__ import annotations

import re

from pitlogger.views import words
from pitlogger.views.language import mark, tr

_SENTENCE = re.compile(r"(?<=[.?!])\s+")
_OPTION = re.compile(r"(?<!\S)--(?=[a-z])")
_LONG = re.compile(r"'([^']{40})[^']{20,}'")
_ASIDE = re.compile(r"\s*\([^()]*(?:pitlogger [a-z]|--[a-z]|sudo |systemctl )[^()]*\)")
_CLAUSE = re.compile(
    r"[:;,] [^:;,]*'pitlogger [^']*'[^:;,.?!]*"
    r"|[:;,](?: or)?[^:;,]*\s--[a-z][^:;,]*"
    r"|[:;,] (?:sudo|systemctl)\b(?:[^.;]|\.(?=\S))*"
)
# Texts speak of the program too: "pitlogger is a record and a reminder".
_COMMAND = re.compile(
    r"^sudo [^.;]*|[`']?\bpitlogger (?!(?:is|was|on|keeps|and)\b)([a-z]+)(?: ([a-z]+))?"
    r"(?: (?:[A-Z]{2,}\b|\.{3}|--\S+))*(?: \(or its name\))?[`']?"
)
_PLACES = {
    "devices scan": mark("Look for devices, under Settings"),
    "devices pair": mark("Pair with it, under Settings, Look for devices"),
    "devices doctor": mark("Devices, under Settings"),
    "devices try": mark("Devices, under Settings"),
    "cook show": mark("what was written, under Past cooks"),
    "cook finish": mark("Finish the cook, on Pit"),
    "cook start": mark("Begin a cook"),
    "record show": mark("the Food log"),
    "channel moved": mark("Moved within its piece, under Settings"),
    "temp": mark("Temp"),
    "weigh": mark("Weigh"),
    "note": mark("a note, on Pit"),
    "pair": mark("a new code, under Settings"),
}
_KEEPER = mark("whoever keeps this node")


def shortened(message: str) -> str:
    """Return a message whose quotations are of forty characters at most."""
    return _LONG.sub(r"'\1…'", message)


def plain(message: str) -> str:
    """Return a message without commands and options, as a sentence."""
    without = _ASIDE.sub("", shortened(message))
    kept = [part for part in _SENTENCE.split(without) if not _OPTION.search(part)]
    text = _OPTION.sub("", _CLAUSE.sub("", " ".join(kept) or without))
    text = _COMMAND.sub(_place, text).strip().rstrip(".")
    if not text or text.endswith(("?", "!")):
        return text
    is_word = text.partition(" ")[0].isalpha()  # a name is written as it was given
    return f"{words.capital(text)}." if is_word else f"{text}."


def _place(found: re.Match[str]) -> str:
    of = " ".join(filter(None, found.groups()))
    said = tr(_PLACES.get(of) or _PLACES.get(found[1] or "") or _KEEPER)
    return words.capital(said) if found.string[: found.start()].endswith(". ") else said
