"""`pitlogger meal`: how the meal went, for the next plan."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_journal


@click.command("meal")
@click.argument("cook", required=False)
@click.option("--came", type=click.IntRange(0, 100_000), metavar="N", help="Guests who ate.")
@click.option("--left", metavar="MASS", help="Meat left over: 2.1 kg, 0 g.")
@click.option("--tender", multiple=True, metavar="MARK|PIECE=MARK",
              help="1 tough, 3 right, 5 falling apart; of all pieces or one.")  # fmt: skip
@click.option("--note", "text", default="", help="Anything worth knowing next time.")
@to_journal
def meal(daemon: DaemonClient, left: str | None, tender: tuple[str, ...], **given: Any) -> None:
    """Tell how the meal of COOK went, the last one if none is named.

    Who came, what was left and how tender it was feed the next plan (plan --from-meals).
    What is told again counts in place of what was told before; the record keeps both.
    """
    from pitlogger.model.quantities import parse_mass_mg

    if left is not None:
        parse_mass_mg(left)
    entry = daemon.post("/meals", left=left, tender=_marks(tender), **given)
    daemon.emit(entry, lambda: _text(entry, daemon.get("/status")["units"]["mass"]))


def _marks(given: tuple[str, ...]) -> dict[str, int] | int | None:
    from pitlogger.errors import UsageError

    marks: dict[str, int] = {}
    for one in given:
        piece, _, mark = one.rpartition("=")
        if mark.strip() not in ("1", "2", "3", "4", "5"):
            raise UsageError(f"--tender: '{one}' is no mark; write 1 (tough) to 5, or brisket-1=4")
        marks[piece.strip()] = int(mark)
    if set(marks) == {""}:
        return marks[""]
    return marks or None


def _text(entry: dict[str, Any], unit: str) -> str:
    from pitlogger.model.quantities import show_mass

    told = [f"{entry['came']} came"] if entry.get("came") is not None else []
    if entry.get("left_mg") is not None:
        told.append(f"{show_mass(entry['left_mg'], unit)} left over")
    told += [f"{row['piece']} tender {row['mark']}" for row in entry.get("tender", ())]
    told += ["a note"] if entry.get("text") else []
    for one in entry["discarded"]:
        why = f" ({one['why']})" if one["why"] else ""
        told.append(f"{show_mass(one['mass_g'] * 1000, unit)} of {one['piece']} discarded{why}")
    return f"{entry['cook_name']}: {', '.join(told)} (entry {entry['id']})"
