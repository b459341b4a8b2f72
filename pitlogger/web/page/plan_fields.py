"""The question of the Plan screen: its fields, and what they ask of plan, schedule and price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitlogger.errors import UsageError

if TYPE_CHECKING:
    from pitlogger.cli.ahead.plan_answer import Given

FIELDS = {
    "guests": "45", "children": "", "portion": "5 oz", "piece_mass": "", "over": "", "risk": "",
    "profile": "", "target": "", "serve_at": "", "drive": "", "setup": "", "wrap": "yes",
}  # fmt: skip
CUT_FIELDS = ("cut", "share", "price")
FIRST_CUT = "brisket-packer"
MOST_CUTS = 4
_SHORT = 400  # characters of a field, at most


@dataclass(frozen=True, slots=True)
class Wanted:
    """A cut of the menu: its share of each plate, and what it costs raw."""

    cut: str
    share: str
    price: str


def fields_of(query: Mapping[str, str]) -> dict[str, str]:
    """Return the fields as the address gives them; those of a first visit where it gives none."""
    names = [*FIELDS, *(f"{name}{suffix(row)}" for row in rows() for name in CUT_FIELDS)]
    fields = {name: query.get(name, "")[:_SHORT].strip() for name in names}
    if not query.get("guests"):
        known = {**FIELDS, "cut": FIRST_CUT}
        fields |= {name: value for name, value in known.items() if not fields[name]}
    return fields


def rows() -> range:
    """Return the numbers of the cuts that the form has room for, from 1."""
    return range(1, MOST_CUTS + 1)


def suffix(row: int) -> str:
    """Return what the fields of a cut end in: nothing for the first."""
    return "" if row == 1 else f"-{row}"


def wanted(fields: Mapping[str, str]) -> list[Wanted]:
    """Return the cuts asked for, in their order.

    Raises:
        UsageError: None is, or one of several has no share.
    """
    found = [
        Wanted(*(fields[f"{name}{suffix(row)}"] for name in CUT_FIELDS))
        for row in rows()
        if fields[f"cut{suffix(row)}"]
    ]
    if not found:
        raise UsageError("choose a cut")
    for one in found:
        if len(found) > 1 and not one.share:
            raise UsageError(f"{one.cut}: give its share of each plate, such as 60 %")
    return found


def given(fields: Mapping[str, str]) -> Given:
    """Return the question as the command line would put it.

    Raises:
        UsageError: A field that cannot be read.
    """
    from pitlogger.cli.ahead.plan_answer import Given  # NumPy: not before somebody plans

    cuts = wanted(fields)
    menu = ",".join(f"{one.cut}:{share_pct(one):g}%" for one in cuts)
    return Given(
        guests=whole(fields["guests"], "guests"),
        children=whole(fields["children"] or "0", "children"),
        portion=fields["portion"] or None,
        cut=cuts[0].cut if len(cuts) == 1 else None,
        menu=menu if len(cuts) > 1 else None,
        piece_mass=(fields["piece_mass"] or None) if len(cuts) == 1 else None,
        over_pct=number(fields["over"] or "0", "margin"),
        risk_pct=number(fields["risk"], "risk") if fields["risk"] else None,
        profile=fields["profile"] or None,
    )


def share_pct(one: Wanted) -> float:
    """Return the share of each plate, per cent."""
    return number(one.share.removesuffix("%").strip() or "100", f"share of {one.cut}")


def whole(text: str, name: str) -> int:
    """Return a whole number of the form."""
    if not text.strip().isdecimal():
        raise UsageError(f"{name}: '{text}' is not a whole number")
    return int(text)


def number(text: str, name: str) -> float:
    """Return a number of the form."""
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{name}: '{text}' is not a number") from None
