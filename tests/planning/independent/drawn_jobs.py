"""Random jobs as plain values, and as the text of a job file.

Shares no code with the product. Masses are drawn in whole units, so that a judge can hold what a
butcher bills against exact sums.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

CUTS = ("brisket-packer", "pork-butt", "chicken-whole", "tri-tip", "turkey-breast", "beef-ribs")
CURRENCIES = ("USD", "EUR", "JPY", "KWD", "")
NAMES = (
    "B. Okafor",
    "Zoë & Søn <GmbH>",
    "مطعم الواحة",
    "\U0001f525 Supper \U0001f37d",
    'O\'Neil, "Al"',
)


def money(rng: random.Random, most: int, fine: float = 0.1) -> str:
    """Return an amount; now and then finer than a cent."""
    places = rng.choice((0, 2, 2, 2)) if rng.random() > fine else 3
    return f"{rng.randrange(most * 10**places) / 10**places:.{places}f}"


def pct(rng: random.Random, most: int) -> str:
    return rng.choice(("0", str(rng.randrange(most + 1)), f"{rng.randrange(most * 1000) / 1000}"))


def drawn(seed: int) -> dict[str, Any]:
    """Return a job: its tables by their names in a file, amounts as text."""
    rng = random.Random(seed)
    guests, children = rng.randrange(8, 300), rng.choice((0, 0, rng.randrange(1, 60)))
    job: dict[str, Any] = {
        "name": f"job {seed}", "client": rng.choice(NAMES), "guests": guests, "children": children,
        "portion": f"{rng.randrange(3, 9)} oz", "currency": rng.choice(CURRENCIES),
        "tax_pct": pct(rng, 25), "tax_rounding": rng.choice(("line", "total")),
        "service_pct": pct(rng, 25), "service_taxable": rng.random() < 0.6,
        "gratuity_pct": pct(rng, 20), "deposit_pct": pct(rng, 100),
        "card_fee_pct": pct(rng, 4), "discount_pct": pct(rng, 20),
        "discount": rng.choice(("0", "0", money(rng, 400))),
        "minimum_order": rng.choice(("0", "0", "0", money(rng, 5000))),
    }  # fmt: skip
    if rng.random() < 0.15:
        job["tax_exemption"] = "E-1207"
    if rng.random() < 0.5:
        job["guarantee"] = max(0, guests + children + rng.randrange(-20, 20))
    found: dict[str, Any] = {"job": job, "meat": _meats(rng), "tier": [], "sitting": []}
    if rng.random() < 0.4:
        told = rng.randrange(0, guests + children + 1)
        found["tier"] = [{"what": "adults", "guests": told, "price": money(rng, 60)},
                         {"what": "late guests", "guests": guests + children - told,
                          "price": money(rng, 60)}]  # fmt: skip
    else:
        job["price_per_guest"] = money(rng, 60)
    if rng.random() < 0.3:
        first = rng.randrange(1, guests)
        found["sitting"] = [
            {"at": "2027-06-19T12:30:00-05:00", "place": "barn", "guests": first},
            {"at": "2027-06-19T18:30:00-05:00", "place": "orchard", "guests": guests - first},
        ]
    elif rng.random() < 0.5:
        job["serve_at"] = "2027-06-19T17:00:00-05:00"
    found |= _money_tables(rng, has_time=bool(found["sitting"] or "serve_at" in job))
    if rng.random() < 0.4:
        found["actual"] = {"guests": max(0, guests + children + rng.randrange(-30, 30)),
                           "meat_cost": money(rng, 900), "other_cost": money(rng, 300)}  # fmt: skip
        if rng.random() < 0.3:
            found["actual"]["income"] = money(rng, 9000)
        if rng.random() < 0.5:
            found["actual"] |= {"served": f"{rng.randrange(9, 60)} kg",
                                "left": f"{rng.randrange(0, 9)} kg"}  # fmt: skip
    return found


def _meats(rng: random.Random) -> list[dict[str, Any]]:
    cuts = rng.sample(CUTS, rng.choice((1, 1, 2, 3)))
    shares = {1: [100], 2: [60, 40], 3: [50, 30, 20]}[len(cuts)]
    meats = []
    for cut, share in zip(cuts, shares, strict=True):
        unit = rng.choice(("lb", "kg"))
        meat: dict[str, Any] = {"cut": cut, "share_pct": str(share), "unit": unit,
                                "price": f"{rng.randrange(100, 1200) / 100:.2f}"}  # fmt: skip
        whole = rng.randrange(2, 15)
        kind = rng.random()
        if kind < 0.4:
            meat["piece"] = (whole, whole + rng.choice((0, 1, 2)))
        elif kind < 0.7:
            meat["case_pieces"] = rng.randrange(1, 5)
            meat["case_mass"] = whole * meat["case_pieces"]
        if rng.random() < 0.5:
            meat["round_to"] = rng.choice((1, 2, 5))
        if rng.random() < 0.4:
            meat["at_least"] = rng.randrange(5, 150)
        if rng.random() < 0.5:
            meat["breaks"] = [(mass, f"{float(meat['price']) * (1 - 0.1 * k):.2f}")
                              for k, mass in
                              enumerate(sorted(rng.sample(range(10, 200), 2)), 1)]  # fmt: skip
        meats.append(meat)
    return meats


def _money_tables(rng: random.Random, *, has_time: bool) -> dict[str, Any]:
    def some(most: int) -> range:
        return range(rng.randrange(most + 1))

    def yes() -> bool:
        return rng.random() < 0.5

    found: dict[str, Any] = {
        "charge": [{"what": f"hire {k}", "price": money(rng, 300), "taxable": yes(),
                    "count": rng.choice(("1", "3", "2.5"))} for k in some(3)],
        "per_guest": [{"what": f"plates {k}", "cost": money(rng, 3),
                       "kind": rng.choice(("food", "disposables", "other"))} for k in some(3)],
        "fixed": [{"what": f"permit {k}", "cost": money(rng, 200)} for k in some(2)],
        "labour": [{"role": f"hand {k}", "hours": rng.choice(("4", "7.5")), "rate": money(rng, 40),
                    "burden_pct": pct(rng, 30)} for k in some(2)],
        "credit": [{"what": f"tallow {k}", "mass": f"{rng.randrange(1, 9)} kg",
                    "price": f"{money(rng, 6)}/kg", "is_leftover": yes(), "cooling_met": yes()}
                   for k in some(2)],
        "by_weight": [{"what": f"sliced {k}", "mass": f"{rng.randrange(1, 9)} kg",
                       "price": f"{money(rng, 60)}/kg", "taxable": yes(),
                       "scale": rng.choice(("", "bench, class III"))} for k in some(1)],
        "payment": [{"on": date(2027, 1, 5) + timedelta(k),
                     "amount": rng.choice(("", "", "-")) + money(rng, 900, 0),
                     "method": rng.choice(("transfer", "cash", ""))} for k in some(3)],
    }  # fmt: skip
    if rng.random() < 0.5:
        found["fuel"] = {"price": f"{money(rng, 3)}/kg"}
        key = rng.choice(("mass", "mass_per_h")) if has_time else "mass"
        found["fuel"][key] = f"{rng.randrange(1, 30)} kg"
    if rng.random() < 0.4:
        found["shortage"] = {"refund": money(rng, 500), "bought_in": f"{money(rng, 60)}/kg"}
    return found


def as_text(found: dict[str, Any]) -> str:
    """Return a job as the text of its file."""
    parts = []
    for name, told in found.items():
        for table in told if isinstance(told, list) else [told]:
            head = f"[[{name}]]" if isinstance(told, list) else f"[{name}]"
            keys = _meat_keys(table) if name == "meat" else table
            parts += [head, *(f"{key} = {_value(key, value)}" for key, value in keys.items())]
    return "\n".join(parts) + "\n"


def _meat_keys(meat: dict[str, Any]) -> dict[str, Any]:
    unit = meat["unit"]
    keys = {"cut": meat["cut"], "share_pct": meat["share_pct"], "price": f"{meat['price']}/{unit}"}
    if "piece" in meat:
        keys |= {
            "piece_from": f"{meat['piece'][0]} {unit}",
            "piece_to": f"{meat['piece'][1]} {unit}",
        }
    if "case_pieces" in meat:
        keys |= {"case_pieces": meat["case_pieces"], "case_mass": f"{meat['case_mass']} {unit}"}
    keys |= {key: f"{meat[key]} {unit}" for key in ("round_to", "at_least") if key in meat}
    if "breaks" in meat:
        keys["breaks"] = [f'{{from_mass = "{mass} {unit}", price = "{price}/{unit}"}}'
                          for mass, price in meat["breaks"]]  # fmt: skip
    return keys


_NUMBERS = ("price", "cost", "rate", "hours", "amount", "count", "discount", "minimum_order",
            "price_per_guest", "meat_cost", "other_cost", "income", "refund")  # fmt: skip


def _value(key: str, value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(value)}]"
    if not isinstance(value, str):
        return str(value)
    if key in ("at", "serve_at", "bought_in"):
        return f'"{value}"'
    if key.endswith("_pct") or (key in _NUMBERS and "/" not in value):
        return value
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
