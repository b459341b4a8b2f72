"""What the kitchen works from: shopping list by supplier, run sheet, packing list."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from pitlogger.model.quantities import show_mass
from pitlogger.reports.sheet import CAUTIONS, Block, Heading, Lines, Sheet, Table
from pitlogger.reports.shopping import BOX

# What a job away from the kitchen is short of, sooner or later: common practice, no source.
PACKED = (
    "probe and spare probe, batteries", "scale", "gloves, heat and food", "knives, boards, tongs",
    "pans, lids, foil, paper", "boxes to hold hot, towels", "hand washing: water, soap, towels",
    "sanitiser and test strips", "labels and pen", "first-aid kit, fire extinguisher",
    "serving spoons, plates, napkins", "bin bags", "the invoice",
)  # fmt: skip


def shopping_by_supplier(document: dict[str, Any], unit: str = "lb-oz") -> Sheet:
    """Return what is still to be bought for a job, by supplier.

    Args:
        document: Of ``pitlogger job show --json``.
        unit: Of mass.
    """
    blocks: list[Block] = []
    for supplier in dict.fromkeys(dish["supplier"] for dish in document["dishes"]):
        rows = tuple(
            (
                BOX,
                dish["name"],
                str(dish["order_more"]),
                show_mass(dish["billed_g"] * 1000 * dish["order_more"] / dish["pieces"], unit),
                _price(dish, unit),
            )
            for dish in document["dishes"]
            if dish["supplier"] == supplier and dish["order_more"] > 0
        )
        if rows:
            blocks.append(Heading(supplier or "Supplier not named"))
            heads = ("", "meat", "pieces", "mass in all", "price")
            blocks.append(Table(heads, rows, numbers=frozenset({2, 3, 4})))
    if not blocks:
        blocks.append(Lines(("All the meat is there.",)))
    blocks += [Heading("Beside the meat"), Table(("", "what", "how much"), (), blank=8)]
    return Sheet(f"Shopping list: {document['job']}", blocks=tuple(blocks))


def _price(dish: dict[str, Any], unit: str) -> str:
    """Return the price of the meat for the unit that masses are shown in."""
    if not unit.startswith("lb"):
        return f"{dish['price_per_kg']}/kg"
    per_lb = dish["meat"] * 453_592_370 / Decimal(round(dish["billed_g"] * 1_000_000))
    return f"{per_lb:.2f}/lb"


def run_sheet(document: dict[str, Any]) -> Sheet:
    """Return what to do when, with room for initials."""
    if document["schedule"] is None:
        blocks: tuple[Block, ...] = (Lines(("No serving time is named, so there are no times.",)),)
        return Sheet(f"Run sheet: {document['job']}", blocks=blocks)
    offset = document["utc_offset_min"]
    zone = None if offset is None else timezone(timedelta(minutes=offset))
    found: list[Block] = []
    day = ""
    rows: list[tuple[str, ...]] = []
    for event in document["schedule"]["events"]:
        at = datetime.fromisoformat(event["at"]).astimezone(zone)
        if f"{at:%A %d %B}" != day:
            _flush(found, day, rows)
            day, rows = f"{at:%A %d %B}", []
        rows.append((f"{at:%H:%M}", event["what"], ", ".join(event["pieces"]), "", ""))
    _flush(found, day, rows)
    found.append(Lines(tuple(n for n in document["schedule"]["notes"] if "--" not in n)))
    return Sheet(f"Run sheet: {document['job']}", about=document["place"], blocks=tuple(found),
                 cautions=CAUTIONS)  # fmt: skip


def _flush(blocks: list[Block], day: str, rows: list[tuple[str, ...]]) -> None:
    if rows:
        blocks += [Heading(day), Table(("time", "what", "pieces", "who", "done"), tuple(rows))]


def packing_list(document: dict[str, Any], unit: str = "lb-oz") -> Sheet:
    """Return what goes on the van."""
    meat = tuple(
        (BOX, dish["name"], f"{dish['pieces']} pieces, {_about(dish['expected_g'], unit)}")
        for dish in document["dishes"]
    )
    things = tuple((BOX, what, "") for what in PACKED)
    heads = ("", "what", "how much")
    blocks = (
        Heading("Food"),
        Table(heads, meat, blank=4),
        Heading("Beside the food"),
        Table(heads, things, blank=4),
    )
    people = document["guests"] + document["children"]
    return Sheet(
        f"Packing list: {document['job']}", f"{people} guests, {document['place']}", blocks
    )


def _about(mass_g: float, unit: str) -> str:
    return f"about {show_mass(mass_g * 1000, unit)} to serve"
