"""The end of the demo in words: the yield of each piece, and where the record lies."""

from __future__ import annotations

from typing import Any

from pitlogger.cli.output import table
from pitlogger.model.quantities import show_mass


def ledger_text(document: dict[str, Any]) -> str:
    """Return the yield ledger and the place of the record."""
    lines = []
    for account in document["yields"]:
        lines += ["", f"{account['piece']} ({account['cut']})"]
        rows = [_row(step) for step in account["steps"]]
        if rows:
            lines.append(table(rows, ["step", "from", "to", "change", "of the step before"]))
        if account["servable_pct"] is not None:
            lines.append(
                f"servable {show_mass(account['servable_g'] * 1000)}: "
                f"{account['servable_pct']:.1f} % of the purchased mass"
            )
        lines += [f"? {doubt['message']}" for doubt in account["doubts"]]
    lines += ["", "food log"]
    for row in document["food_log"]["verdicts"]:
        answered = ", corrective action on record" if row["answered"] else ""
        lines.append(f"  {row['piece']}, {row['what']}: {row['verdict']}{answered}")
    lines += [
        "",
        f"{document['readings']} readings, {len(document['alerts'])} alert states",
        f"food log   {document['food_log']['file']}",
        f"record     {document['record']}",
        f"cook file  {document['cook_file']}",
        f"next: pitlogger replay {document['record']} --cook {document['cook_file']}",
    ]
    return "\n".join(lines).lstrip("\n")


def _row(step: dict[str, Any]) -> list[str]:
    change = show_mass(step["change_g"] * 1000)
    return [
        f"{step['from']} to {step['to']}",
        show_mass(step["from_g"] * 1000),
        show_mass(step["to_g"] * 1000),
        change if change.startswith("-") else f"+{change}",
        f"{step['ratio'] * 100:.1f} %",
    ]
