"""What a plan says beside its figures: where they come from and what they hide."""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import Decimal

from pitlogger.formats.money import cents
from pitlogger.model.quantities import show_mass, show_share
from pitlogger.planning.fields import Portion
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.planning.terms import Terms, portion_sd_g
from pitlogger.rules.policies import shipped_portions
from pitlogger.views import words
from pitlogger.yields.learned.servable import Learned
from pitlogger.yields.purchase.masses import PieceMass
from pitlogger.yields.purchase.plan import PurchasePlan, PurchaseQuestion


def basis_notes(
    learned: Learned, left_out: int, mass_is_prior: bool, typical: PieceMass, start: str
) -> Iterator[str]:
    """Say what the yield and the piece mass rest on, and what of the history could not be used."""
    cut = words.cut(learned.cut)
    if left_out:
        yield (
            f"{left_out} past piece{'s' * (left_out != 1)} of {cut} left out: no servable "
            f"yield of {start}."
        )
    if learned.n == 0:
        yield (f"No own cook of {cut} yet: the yield is a typical one ({learned.source}).")
    elif learned.n == 1:
        yield f"One own cook of {cut} so far: the rest is typical ({learned.source})."
    if learned.firm:
        yield (
            f"The typical yield of {cut} is that of {learned.firm} ({learned.source}), as taken"
            " on this node, in place of the published one."
        )
    if mass_is_prior:
        yield (
            f"Piece mass {show_mass(typical.mean_g * 1000)} (two of "
            f"three lie within {show_mass(typical.sd_g * 1000)} of it) is a typical one, common "
            "practice, no source. Weigh them on arrival: it is worth more "
            "than more cooks in the log."
        )
    if start != "purchased":
        yield f"Masses are at {start}; what follows still has to be lost."
    if learned.day_share > 0:
        of_day = show_share(learned.day_share)
        yield f"Pieces of one cook share their day: {of_day} of how yields differ is the day's."
    elif learned.prior == "flat":
        yield "Pieces of one cook are taken to share nothing: own cooks alone cannot tell."
    if learned.wild:
        several = len(learned.wild) > 1
        yield (
            f"Far from the others, so {'they count' if several else 'it counts'} for little: "
            f"{', '.join(learned.wild)}. Look at the weighings; correct what is wrong."
        )


def portion_notes(question: PlanQuestion, portion: Portion | None) -> Iterator[str]:
    """Say how much appetites are taken to differ, and where a plate is small by trade practice."""
    practice = shipped_portions()[question.service]
    plates = [(dish.share, dish.portion or portion or Portion()) for dish in question.dishes]
    if any(plate.count for _, plate in plates):
        return
    meat_g = math.fsum(share * plate.mass_g for share, plate in plates)
    sd_g = portion_sd_g(question, meat_g)
    if question.portion_sd_g is None and sd_g:
        yield (
            f"Appetites differ: two of three guests eat within {show_mass(sd_g * 1000)} of a "
            f"portion, taken for {question.service} service, common practice, no source."
        )
    if meat_g < practice.least_g:
        yield (
            f"{show_mass(meat_g * 1000)} of meat a guest is little: trade practice is "
            f"{show_mass(practice.least_g * 1000)} or more for {question.service} service "
            f"({practice.source})."
        )


def factor_notes(learned: Learned) -> Iterator[str]:
    """Say what grade, supplier, wrap, pull temperature or pit did to the yield."""
    share = learned.quantile(0.5)
    for effect in learned.effects:
        name = f"{effect.factor.replace('_', ' ')} {effect.value}"
        points = 100 * share * (1.0 - share) * (effect.shift or 0.0)
        if effect.shift is None:
            yield f"{name}: no past piece tells it; the yield is not changed for it."
        elif effect.n == 0:
            yield (
                f"{name}: never on record here, others were; the yield is less sure until it is "
                f"known{f', and taken {points:+.1f} points for it' if abs(points) >= 0.05 else ''}."
            )
        elif abs(points) < 0.05:
            yield f"{name}: {_past(effect.n)} on record do not differ from the others."
        else:
            yield (
                f"{name}: {_past(effect.n)} on record, drawn to the others; the yield is taken "
                f"{points:+.1f} points for it. No cause is claimed."
            )


def _past(n: int) -> str:
    return f"{n} past piece{'s' * (n != 1)}"


def margin_notes(
    terms: Terms,
    found: PurchasePlan,
    question: PurchaseQuestion,
    price_per_g: Decimal | None = None,
) -> Iterator[str]:
    """Say which margins are stacked, and what a tighter promise costs."""
    if terms.over > 0:
        yield (
            f"Margins are stacked: {show_share(terms.over)} over, and on top of it a risk of "
            f"{show_share(terms.risk)}."
        )
    if terms.paid and found.recommended is not None:
        loose = next((o for o in found.options if o.p_enough >= 0.95), None)
        if loose is not None:
            more = found.recommended - loose.pieces
            mass_g = more * question.typical.mean_g
            cost = f"{more} more piece{'s' * (more != 1)}, {show_mass(mass_g * 1000)} raw"
            if price_per_g is not None:
                cost += f", {cents(price_per_g * Decimal(mass_g))}"
            cost = cost if more else "nothing more"
            yield f"Paid: everybody on the guarantee is owed. From 5 % risk to 1 % costs {cost}."


def money_notes(
    price_per_g: Decimal | None,
    budget: Decimal | None,
    found: PurchasePlan,
    question: PurchaseQuestion,
) -> Iterator[str]:
    """Say what the meat costs and what the budget buys."""
    if price_per_g is None:
        return
    if found.purchase_g is not None:
        yield f"Raw meat for the recommended: {cents(price_per_g * Decimal(found.purchase_g))}."
    if budget is not None:
        one = price_per_g * Decimal(question.typical.mean_g)
        buys = int(budget / one) if one else 0
        option = next((o for o in found.options if o.pieces == buys), None)
        chance = (
            f"enough with probability {option.p_enough:.3f}"
            if option
            else "not enough"
            if buys < 1
            else "more than is needed"
        )
        yield f"The budget buys {buys} piece{'s' * (buys != 1)}: {chance}."


def result_notes(found: PurchasePlan, question: PurchaseQuestion) -> Iterator[str]:
    """Say so where nothing keeps the risk."""
    if found.recommended is None:
        best = found.options[-1]
        yield (
            f"Not enough: {best.pieces} piece{'s' * (best.pieces != 1)} hold with probability "
            f"{best.p_enough:.3f}, asked were {1 - question.risk:.3f}."
        )
