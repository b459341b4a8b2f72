"""What a client is given: quote, change order, invoice, credit note, receipt, from one template.

Nothing of how it was reckoned stands on them: no cost, no chance, no yield.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from pitlogger.formats.money import rounded
from pitlogger.reports.sheet import Block, Facts, Heading, Lines, Sheet, Table

_TITLES = {"quote": "Quote", "invoice": "Invoice", "credit-note": "Credit note",
           "receipt": "Receipt"}  # fmt: skip
_FIRM_TERMS = ("Prices hold for the number of guests and the menu named here.",)


def paper_sheet(paper: dict[str, Any], firm: str = "") -> Sheet:
    """Return the sheet of an issued paper.

    Args:
        paper: As the register holds it: ``kind``, ``number``, ``version``, ``on``, ``about``,
            ``content``.
        firm: Name and address at the head.
    """
    content, kind = paper["content"], paper["kind"]
    title = _TITLES[kind]
    if kind == "quote" and paper["version"] > 1:
        title = "Change order" if content["paid_before"] else title
    version = f", version {paper['version']}" if paper["version"] > 1 else ""
    blocks: list[Block] = [Facts(tuple(_facts(paper, content)))]
    if kind == "receipt":
        blocks += _received(content)
    else:
        blocks += [Heading("Menu"), Lines(tuple(content["menu"]) or ("to be agreed",))]
        if kind == "quote":
            blocks.append(Lines((_contains(content.get("allergens", ())),)))
        blocks += [Heading("Price"), Table(("", content["currency"] or "amount"),
                   tuple(_sums(content, kind)), numbers=frozenset({1}))]  # fmt: skip
        terms = tuple(content["terms"]) or _FIRM_TERMS
        blocks += [Heading("Terms"), Lines((*_dates(content, kind), *terms))]
    if kind == "quote":
        blocks.append(Table(("for the client: name, date, signature", "for us"), (), blank=1))
    return Sheet(
        title=f"{title} {paper['number']}{version}",
        about=", ".join(part for part in (firm, content["job"], content["place"]) if part),
        blocks=tuple(blocks),
        cautions=(),
        made="",
    )


def _contains(allergens: Sequence[str]) -> str:
    """Return what is known to be in it; of the rest nothing is said."""
    if not allergens:
        return "Allergens are not stated here: ask."
    return f"Contains {', '.join(allergens)}; other allergens are not stated here: ask."


def _facts(paper: dict[str, Any], content: dict[str, Any]) -> Iterator[tuple[str, str]]:
    yield "Date", paper["on"]
    if content["client"]:
        yield "For", content["client"]
    for sitting in content["sittings"]:
        at = datetime.fromisoformat(sitting["at"])
        where = f", {sitting['place']}" if sitting["place"] else ""
        yield "Served", f"{at:%a %Y-%m-%d %H:%M}{where}"
    children = f" and {content['children']} children" if content["children"] else ""
    yield "Guests", f"{content['guests']}{children}"
    if paper["kind"] == "quote" and content["valid_until"]:
        yield "Valid until", content["valid_until"]
    if paper["kind"] == "credit-note":
        yield "Takes back", paper["about"]


def _sums(content: dict[str, Any], kind: str) -> Iterator[tuple[str, str]]:
    sums = content["bill"]
    sign = -1 if kind == "credit-note" else 1

    def money(key: str) -> str:
        return f"{sign * Decimal(sums[key]):,}"

    for line in sums["lines"]:
        yield _line(line, content["currency"]), f"{sign * Decimal(line['amount']):,}"
    listed = sum((Decimal(line["amount"]) for line in sums["lines"]), Decimal(0))
    if Decimal(sums["subtotal"]) > listed:
        yield "Minimum order", money("subtotal")
    if Decimal(sums["discount"]):
        yield "Discount", f"{-sign * Decimal(sums['discount']):,}"
    if Decimal(sums["service"]):
        yield f"Service charge {content['service_pct']} %", money("service")
    if content["tax_exemption"]:
        yield f"No tax: exempt, {content['tax_exemption']}", "0"
    elif Decimal(sums["tax"]):
        yield f"Tax {content['tax_pct']} % on {money('taxable')}", money("tax")
    yield "Total", money("total")
    is_unpaid = kind == "quote" and not content["paid_before"]
    if kind == "quote" and Decimal(sums["deposit"]) > Decimal(sums["paid"]):
        yield f"Deposit {content['deposit_pct']} %, due on booking", money("deposit")
    if is_unpaid:
        rest = Decimal(sums["total"]) - Decimal(sums["deposit"])
        yield f"Balance {_due(content)}".rstrip(), f"{rest:,}"
    elif kind != "credit-note":
        yield "Paid", f"{-Decimal(sums['paid']):,}"
        due = _due(content) if kind == "quote" else ""
        yield f"Balance {due or 'due'}", money("balance")
    if Decimal(sums["gratuity_proposed"]) and kind != "credit-note":
        yield f"Gratuity, if you wish ({content['gratuity_pct']} %)", money("gratuity_proposed")


def _due(content: dict[str, Any]) -> str:
    """Return by when the balance is due: as said, else on the day of the last sitting."""
    day = content.get("balance_by") or max((s["at"][:10] for s in content["sittings"]), default="")
    return f"due by {day}" if day else ""


def _line(line: dict[str, Any], currency: str) -> str:
    """Return a line with its number and price where there are several: 125 guests at 24.00."""
    count = Decimal(line["count"])
    if count == 1:
        return str(line["what"])
    each = rounded(Decimal(line["price"]), currency)
    return f"{count.normalize():f} {line['what']} at {each:,}"


def _dates(content: dict[str, Any], kind: str) -> Iterator[str]:
    if content["guarantee_by"]:
        yield (
            f"The number of guests is guaranteed by {content['guarantee_by']}; what is billed is "
            "the higher of that number and those who come."
        )
    if kind == "invoice" and content["sittings"]:
        yield (
            f"The balance is due by {content['balance_by']}."
            if content.get("balance_by")
            else "The balance is due on receipt of this invoice."
        )


def _received(content: dict[str, Any]) -> list[Block]:
    payment = content["payment"]
    amount = rounded(Decimal(payment["amount"]), content["currency"])
    what = "Received" if amount >= 0 else "Given back"
    rows = ((f"{what} on {payment['on']}{_by(payment['method'])}", f"{abs(amount):,}"),
            ("Total of the order", f"{Decimal(content['bill']['total']):,}"),
            ("Received in all", f"{Decimal(content['bill']['paid']):,}"),
            ("Balance due", f"{Decimal(content['bill']['balance']):,}"))  # fmt: skip
    return [Table(("", content["currency"] or "amount"), rows, numbers=frozenset({1}))]


def _by(method: str) -> str:
    return f", {method}" if method else ""
