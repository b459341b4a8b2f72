"""`pitlogger history` as text: pieces, the dot strip of yields, dear steps, differences."""

from __future__ import annotations

import csv
import io
from typing import Any

from pitlogger.cli.output import table
from pitlogger.formats.paper_log import guarded
from pitlogger.model.cooks import WEIGHABLE
from pitlogger.model.quantities import show_mass, show_share

_WIDTH = 50
_ALWAYS = ("date", "cook", "piece", "cut", "count", "wrap", "notes")
_TOLD = ("supplier", "grade", "pit", "price_per_kg", "guests", "came", "left_g", "tender")


def history_text(document: dict[str, Any]) -> str:
    """Return the text of a history document."""
    parts = []
    if document["pieces"]:
        rows = [
            [
                piece["cook"],
                piece["piece"],
                piece["cut"],
                "-" if piece["servable_pct"] is None else f"{piece['servable_pct']:.1f}",
            ]
            for piece in document["pieces"]
        ]
        parts.append(table(rows, ["cook", "piece", "cut", "servable % of purchased"]))
    parts += [_cut_text(cut, document["pieces"]) for cut in document["cuts"]]
    if document["prices"]:
        parts.append(_prices_text(document["prices"]))
    told = [meal for meal in document["meals"] if meal["came"] is not None or meal["left_g"]]
    if told:
        parts.append(_meals_text(told))
    parts += [f"- {note}" for note in document["notes"]]
    return "\n\n".join(parts)


def _prices_text(prices: list[dict[str, Any]]) -> str:
    rows = [
        [
            price["cut"],
            price["supplier"] or "not named",
            str(price["n"]),
            f"{float(price['first_per_kg']):.2f}/kg",
            f"{float(price['last_per_kg']):.2f}/kg",
            "too few to tell" if price["a_year_pct"] is None else f"{price['a_year_pct']:+.1f} %",
        ]
        for price in prices
    ]
    return table(rows, ["price of", "supplier", "n", "first", "last", "a year"])


def _meals_text(meals: list[dict[str, Any]]) -> str:
    rows = [
        [
            meal["cook"],
            "-" if meal["booked"] is None else str(meal["booked"]),
            "-" if meal["came"] is None else str(meal["came"]),
            "-" if meal["left_g"] is None else show_mass(meal["left_g"] * 1000),
            _each(meal["eaten_per_guest_g"]),
        ]
        for meal in meals
    ]
    return table(rows, ["meal", "booked", "came", "left over", "eaten each"])


def _each(mass_g: float | None) -> str:
    return "-" if mass_g is None else show_mass(mass_g * 1000)


def _cut_text(cut: dict[str, Any], pieces: list[dict[str, Any]]) -> str:
    learned = cut["learned"]
    band = f"80 in 100 between {show_share(learned['p10'], 1)} and {show_share(learned['p90'], 1)}"
    told = f"{cut['cut']}: next cook {show_share(learned['median'], 1)} of purchased"
    lines = [f"{told}, {band} (n = {learned['n']})"]
    shares = [p["servable_pct"] for p in pieces if p["cut"] == cut["cut"] and p["servable_pct"]]
    if shares:
        lines.append(dot_strip(shares))
    if cut["nine_in_ten_exceed_pct"] is not None:
        lines.append(
            f"  nine cooks in ten exceed {cut['nine_in_ten_exceed_pct']:.1f} % (95 % confidence)"
        )
    for step in cut["dear_steps"][:4]:
        money = "" if step["money"] is None else f", {step['money']:.2f} a piece"
        lines.append(
            f"  {step['cause']}: {step['share_pct']:.1f} % of purchased{money} (n = {step['n']})"
        )
    lines += [
        f"  {f['factor'].replace('_', ' ')} {f['value']}: {f['shrunk_pct']:.1f} %, nine in ten "
        f"between {f['low_pct']:.1f} and {f['high_pct']:.1f} (n = {f['n']}); {_how_sure(f)}"
        for f in cut["factors"]
    ]
    lines += [
        f"  tenderness {t['mean']:.1f} of 5: {t['factor'].replace('_', ' ')} {t['value']} "
        f"(n = {t['n']}); no cause"
        for t in cut["tenderness"]
    ]
    lines += [
        f"  best third: {d['factor']} {d['value']} in {d['best']}, rest in {d['rest']}; no cause"
        for d in cut["best_had_more_often"]
    ]
    return "\n".join(lines)


def _how_sure(level: dict[str, Any]) -> str:
    if level["n"] == 1:
        return "one piece tells nothing of it"
    if level["differs"]:
        return "hardly chance, but other things may have differed too"
    return "chance alone could do this"


def dot_strip(shares_pct: list[float]) -> str:
    """Return yields as dots on a line, with its ends; a digit where several fall together."""
    low, high = min(shares_pct) - 1.0, max(shares_pct) + 1.0
    counts = [0] * _WIDTH
    for share in shares_pct:
        counts[min(_WIDTH - 1, int((share - low) / (high - low) * _WIDTH))] += 1
    strip = "".join("." if not n else "o" if n == 1 else str(min(n, 9)) for n in counts)
    return f"  {low:.1f} % {strip} {high:.1f} %"


def paper_log_text(pieces: list[dict[str, Any]]) -> str:
    """Return pieces as a paper log (CSV, RFC 4180), which ``--history`` and ``import`` read."""
    text = io.StringIO(newline="")
    weighed = [name for name in WEIGHABLE if any(name in p["masses_g"] for p in pieces)]
    told = [key for key in _TOLD if any(p[key] is not None for p in pieces)]
    pulled = any(p["pull_at_c"] is not None for p in pieces)
    writer = csv.writer(text)
    header = [*_ALWAYS, *told, *(["pull_at"] if pulled else []), *(f"{name}_g" for name in weighed)]
    writer.writerow(header)
    for piece in pieces:
        keys = (*_ALWAYS, *told)
        cells = ["" if piece[key] is None else guarded(str(piece[key])) for key in keys]
        if pulled:
            cells.append("" if piece["pull_at_c"] is None else f"{piece['pull_at_c']:g} C")
        masses = [piece["masses_g"].get(name, "") for name in weighed]
        writer.writerow([*cells, *masses])
    return text.getvalue()
