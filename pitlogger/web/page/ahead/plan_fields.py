"""The question of the Plan screen: its fields, and what they ask of plan, schedule and price."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

from pitlogger.errors import FieldError
from pitlogger.planning.fields import Dish, grams, known_cut, portion
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.views.language import mark, tr
from pitlogger.web.page.plain_words import shortened
from pitlogger.web.page.typed import decimal_point

FIELDS = {
    "guests": "45", "children": "", "portion": "5 oz", "piece_mass": "", "over": "", "risk": "",
    "profile": "", "target": "", "serve_at": "", "drive": "", "setup": "", "wrap": "yes",
}  # fmt: skip
# What the form calls the fields of a question.
LABELS = {
    "guests": mark("Guests"),
    "children": mark("Children besides"),
    "portion": mark("Portion of an adult"),
    "cut": mark("Cut"),
    "dishes": mark("share of each plate"),
    "price_per_g": mark("Price of the raw meat"),
    "piece_mass_g": mark("Mass of a raw piece"),
    "over_pct": mark("Margin on top"),
    "risk_pct": mark("Accepted risk of running short"),
    "serve_at": mark("Served at"),
    "drive_min": mark("Drive"),
    "setup_min": mark("Setting up"),
    "target_pct": mark("Wanted food cost"),
}
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


def named_as_labels(fault: FieldError) -> str:
    """Return what is wrong with a field, by the labels of the form."""
    return shortened(fault.worded(lambda field: tr(LABELS.get(field, field.replace("_", " ")))))


def at_fault(fault: FieldError, fields: Mapping[str, str]) -> str:
    """Return the name in the form of a question's field; of several cuts the one that is named."""
    name = {"dishes": "share", "price_per_g": "price"}.get(fault.field, fault.field)
    name = re.sub("_(?:g|pct|min)$", "", name)
    for row in rows() if name in CUT_FIELDS else ():
        value, cut = fields[f"{name}{suffix(row)}"], fields[f"cut{suffix(row)}"]
        if f"'{value}'" in fault.reason or (cut and fault.reason.startswith(f"{cut}:")):
            return f"{name}{suffix(row)}"
    return name


def wanted(fields: Mapping[str, str]) -> list[Wanted]:
    """Return the cuts asked for, in their order.

    Raises:
        FieldError: None is, or one of several has no share.
    """
    found = [
        Wanted(*(fields[f"{name}{suffix(row)}"] for name in CUT_FIELDS))
        for row in rows()
        if fields[f"cut{suffix(row)}"]
    ]
    if not found:
        raise FieldError("cut", "choose a cut")
    for one in found:
        if len(found) > 1 and not one.share:
            reason = f"{one.cut}: give its {{dishes}}, such as 60 %"
            raise FieldError("dishes", reason)
    return found


def question(fields: Mapping[str, str]) -> PlanQuestion:
    """Return the question that the form puts.

    Raises:
        FieldError: A field that cannot be read.
    """
    cuts = wanted(fields)
    mass = fields["piece_mass"] if len(cuts) == 1 else ""
    return PlanQuestion(
        guests=whole(fields["guests"], "guests"),
        children=whole(fields["children"] or "0", "children"),
        portion=portion(decimal_point(fields["portion"])) if fields["portion"] else None,
        dishes=tuple(Dish(known_cut(one.cut), _share(one)) for one in cuts),
        piece_mass_g=grams(decimal_point(mass), "piece_mass_g") if mass else None,
        over_pct=number(fields["over"] or "0", "over_pct"),
        risk_pct=number(fields["risk"], "risk_pct") if fields["risk"] else None,
        paid=fields["profile"] == "paid",
    )


def _share(one: Wanted) -> float:
    text = one.share.removesuffix("%").strip() or "100"
    share = number(text, "dishes") / 100
    if not 0 < share <= 1:
        raise FieldError("dishes", f"{one.cut}: '{one.share}' is not above 0 and at most 100 %")
    return share


def whole(text: str, field: str) -> int:
    """Return a whole number of the form."""
    if not text.strip().isdecimal():
        raise FieldError(field, f"'{text}' is not a whole number")
    return int(text)


def number(text: str, field: str) -> float:
    """Return a number of the form."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise FieldError(field, f"'{text}' is not a number") from None
    if not isfinite(value):
        raise FieldError(field, f"'{text}' is not a number")
    return value
