"""Prices that are hardly meant: a point left out, cents for dollars. Asked about, never refused."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from pitlogger.formats.job_file import JobFile
from pitlogger.questions import Answers

# What a kilogram of raw meat hardly costs less or more than, and a guest more than, in money
# whose unit is worth about a dollar: common practice, no source. Of other money nothing is known.
LEAST_PER_KG, MOST_PER_KG, MOST_PER_GUEST = Decimal("0.30"), Decimal(400), Decimal(1000)
_LIKE_DOLLARS = frozenset({"", "USD", "EUR", "GBP", "CHF", "CAD", "AUD", "NZD"})


def price_doubts(source: JobFile, currency: str) -> Iterator[str]:
    """Yield which prices of a job are hardly meant, each as a sentence with its field."""
    if (source.job.currency or currency).upper() not in _LIKE_DOLLARS:
        return
    for meat in source.meat:
        if meat.price is not None and not LEAST_PER_KG <= meat.price * 1000 <= MOST_PER_KG:
            what = "more" if meat.price * 1000 > MOST_PER_KG else "less"
            shown = per_lb_and_kg(meat.price * 1000)
            yield f"meat.{meat.cut}.price: {shown} is hardly a price of meat, {what} than any known"
    per_guest = source.job.price_per_guest
    if per_guest is not None and per_guest > MOST_PER_GUEST:
        yield f"job.price_per_guest: {per_guest} is more than guests pay"


def ask_prices(doubts: Iterable[str], answers: Answers) -> None:
    """Ask about each price that is hardly meant.

    Raises:
        QuestionError: Nobody said yet that it is right.
    """
    for doubt in doubts:
        field, _, said = doubt.partition(": ")
        answers.choose(f"{field}: {said}. Is it right?", [f"{field} is right"])


def per_lb_and_kg(per_kg: Decimal) -> str:
    """Return a price of meat as both kinds of people read it."""
    return f"{per_kg * Decimal('0.45359237'):.2f}/lb, {per_kg:.2f}/kg"
