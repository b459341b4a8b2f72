"""A first job file from four answers."""

from __future__ import annotations

from collections.abc import Sequence


def first_job(
    dishes: Sequence[tuple[str, str]], guests: int, serve_at: str, place: str, name: str = ""
) -> str:
    """Return the text of a job file: guests, when, where, dishes.

    Args:
        dishes: Cut and share of the meal in per cent, each.
        guests: Booked.
        serve_at: RFC 3339.
        place: In words of the person's own.
        name: Of the job.
    """
    lines = ["version = 1", "", "[job]", f"name = {_quoted(name)}", f"guests = {guests}"]
    lines += [f"serve_at = {_quoted(serve_at)}", f"place = {_quoted(place)}"]
    for cut, share in dishes:
        lines += ["", "[[meat]]", f"cut = {_quoted(cut)}", f"share_pct = {share}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    kept = "".join(char if char.isprintable() else " " for char in text)
    return '"' + kept.replace("\\", "\\\\").replace('"', '\\"') + '"'
