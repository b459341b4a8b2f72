"""The answer of `pitlogger plan` for people."""

from __future__ import annotations

from typing import Any

from pitlogger.cli.output import table
from pitlogger.model.quantities import show_mass, show_share

_MOST_ROWS = 20
_BAR = 24


def answer_text(document: dict[str, Any], people: int) -> str:
    """Return the answer for people: one line first, then the options and the notes."""
    if "dishes" in document:
        parts = [_menu_line(document, people)]
        parts += [f"{dish['cut']}\n{_dish_text(dish, people)}" for dish in document["dishes"]]
        return "\n\n".join([*parts, *(f"- {note}" for note in document["notes"])])
    return _dish_text(document, people)


def _menu_line(document: dict[str, Any], people: int) -> str:
    """Return the shopping list in one line."""
    guests = f"{people} guest{'s' * (people != 1)}"
    bought = [
        f"{item['pieces']} {item['cut']} ({show_mass(item['purchase_g'] * 1000)} raw)"
        if item["pieces"] is not None
        else f"not enough {item['cut']}"
        for item in document["shopping"]
    ]
    return f"{guests}: {', '.join(bought)}."


def _dish_text(document: dict[str, Any], people: int) -> str:
    rows = [
        [
            str(option["pieces"]),
            f"{p:.3f}" if (p := option["p_enough"]) <= 0.999 else ">0.999",
            _bar(option["p_enough"]),
            show_mass(option["expected_g"] * 1000),
            show_mass(option["leftover_g"] * 1000),
        ]
        for option in _near(document)
    ]
    return "\n".join(
        [
            _first_line(document, people),
            "",
            table(rows, ["pieces", "p enough", "enough?", "servable", "left over"]),
            _basis_line(document["basis"]),
            *(f"- {note}" for note in document["notes"]),
            *_short_lines(document.get("shortfall")),
        ]
    )


def _bar(p_enough: float) -> str:
    """Return a probability as a bar; a full one is certain to a thousandth."""
    filled = int(p_enough * _BAR) if p_enough < 0.999 else _BAR
    return "#" * filled + "." * (_BAR - filled)


def _basis_line(basis: dict[str, Any]) -> str:
    return (
        f"Servable yield of the next cook: {show_share(basis['median'], 1)}, 80 in 100 between "
        f"{show_share(basis['p10'], 1)} and {show_share(basis['p90'], 1)} (n = {basis['n']}, "
        f"prior {basis['prior']})."
    )


def _short_lines(short: dict[str, Any] | None) -> list[str]:
    if short is None:
        return []
    lines = [f"Short by {show_mass(short['short_g'] * 1000)} servable. What still helps:"]
    return lines + [
        f"  {_chance(remedy['p_enough']):>6}  {remedy['message']}" for remedy in short["remedies"]
    ]


def _near(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Leave out the options that are hopeless, but for the last of them; of many, the most.

    The recommended one always stays.
    """
    options: list[dict[str, Any]] = document["options"]
    hopeless = sum(option["p_enough"] < 0.0005 for option in options)
    near = options[max(0, min(hopeless, len(options)) - 1) :]
    every = -(-len(near) // _MOST_ROWS)
    kept = document["recommended"] or near[-1]["pieces"]
    return [option for option in near if (option["pieces"] - kept) % every == 0]


def _first_line(document: dict[str, Any], people: int) -> str:
    """Answer the question in one line: twenty guests, one or two?"""
    best = document["recommended"]
    guests = f"{people} guest{'s' * (people != 1)}"
    chances = {option["pieces"]: option["p_enough"] for option in document["options"]}
    if best is None:
        most = max(chances)
        return f"{guests}: not enough; {_pieces(most)} would do with {_chance(chances[most])}."
    bought = show_mass(document["purchase_g"] * 1000)
    line = f"{guests}: {best} {document['cut']}, {bought} raw (enough with {_chance(chances[best])}"
    if best > 1:
        line += f"; {best - 1} with {_chance(chances[best - 1])}"
    return line + ")."


def _pieces(count: int) -> str:
    return f"{count} piece{'s' * (count != 1)}"


def _chance(p: float) -> str:
    return "more than 999 in 1000" if p > 0.999 else show_share(p, 1)
