"""Text of strangers on one line."""

from __future__ import annotations


def one_line(text: str) -> str:
    """Return a text on one line, without what steers a terminal or forges a line of a list."""
    return "".join(char if char.isprintable() else " " for char in text).strip()
