"""Text of strangers on one line."""

from __future__ import annotations

JOINERS = "\u200c\u200d"  # between letters of many scripts and parts of one picture


def one_line(text: str) -> str:
    """Return a text on one line, without what steers a terminal or forges a line of a list."""
    return "".join(c if c.isprintable() or c in JOINERS else " " for c in text).strip()
