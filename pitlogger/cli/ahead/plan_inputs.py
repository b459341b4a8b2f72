"""What `pitlogger plan` is given, read and checked: portions, pieces, profile, dishes."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from pitlogger.cli.ahead.cut_policy import cut_policy
from pitlogger.errors import UsageError, nearest
from pitlogger.model.quantities import parse_mass_mg
from pitlogger.yields.purchase.demand import Party
from pitlogger.yields.purchase.plan import PORTIONS_BY_COUNT
from pitlogger.yields.purchase.sufficiency import PieceMass

# A child eats about half of an adult's portion: from memory.
CHILD_SHARE = 0.5
PAID_RISK, PARTY_RISK = 0.01, 0.05
_COUNTED = re.compile(r"\s*(\d+)\s*([a-z]+?)s?\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Portion:
    """A portion by mass, or by count of what a piece is cut into."""

    mass_g: float = 0.0
    count: int = 0
    word: str = ""


@dataclass(frozen=True, slots=True)
class Terms:
    """What the profile settles: accepted risk and how many come."""

    risk: float
    show_rate: float
    over: float
    paid: bool
    shared_cv: float = 0.0


def grams(text: str, option: str) -> float:
    """Return a written mass above zero in grams; the option is named in the error."""
    try:
        mass_mg = parse_mass_mg(text)
    except UsageError as fault:
        raise UsageError(f"{option}: {fault}") from None
    if mass_mg == 0:
        raise UsageError(f"{option}: '{text}' is zero; expected a mass above zero")
    return mass_mg / 1000


def read_portion(text: str) -> Portion:
    """Read ``5oz``, ``140 g``, ``3 bones`` or ``1 quarter``."""
    counted = _COUNTED.fullmatch(text)
    if counted is not None:
        word = {"halve": "half", "halves": "half"}.get(counted[2].casefold(), counted[2].casefold())
        if word in PORTIONS_BY_COUNT:
            if int(counted[1]) == 0:
                raise UsageError(f"--portion: '{text}' is nothing; expected one or more")
            return Portion(count=int(counted[1]), word=word)
    try:
        return Portion(mass_g=grams(text, "--portion"))
    except UsageError as fault:
        words = ", ".join(f"1 {word}" for word in PORTIONS_BY_COUNT)
        hint = nearest(counted[2], PORTIONS_BY_COUNT) if counted else ""
        raise UsageError(f"{fault}{hint}; portions may also be counted: {words}") from None


def portions_per_piece(portion: Portion, cut: str) -> int:
    """Return how many counted portions a piece of the cut gives."""
    known = PORTIONS_BY_COUNT[portion.word]
    if cut not in known:
        raise UsageError(
            f"--portion: {cut} is not served by the {portion.word}; "
            f"that fits {', '.join(known)}. Give a mass, such as 5oz"
        )
    return known[cut]


def parties(
    guests: int, children: int, portion: Portion, portion_sd_g: float, child_share: float
) -> tuple[Party, ...]:
    """Return adults and children with their portions; counted ones in pieces, not grams."""
    if guests + children < 1:
        raise UsageError("--guests: 0 guests; expected one or more")
    if portion.count:
        each = float(portion.count)
        return (Party(guests, each), Party(children, each))
    if portion_sd_g > portion.mass_g:
        raise UsageError(
            f"--portion-sd: {portion_sd_g:.0f} g is more than the portion of "
            f"{portion.mass_g:.0f} g; check the unit"
        )
    return (
        Party(guests, portion.mass_g, portion_sd_g),
        Party(children, portion.mass_g * child_share, portion_sd_g * child_share),
    )


def read_terms(
    profile: str | None,
    risk_pct: float | None,
    show_rate_pct: float | None,
    over_pct: float,
) -> Terms:
    """Return the terms of a profile; what contradicts it is refused.

    A paid guarantee is owed: everybody counts and the risk is 1 %. Without a profile the
    risk is 5 % and everybody comes.
    """
    paid = profile == "paid"
    if paid and show_rate_pct not in (None, 100.0):
        raise UsageError(
            "--profile paid with --show-rate: the guarantee is owed, so everybody counts. "
            "Leave one of the two out"
        )
    risk = PAID_RISK if paid else PARTY_RISK
    if risk_pct is not None:
        risk = _between(risk_pct, "--risk", 0.0, 99.0) / 100
    rate = 1.0 if show_rate_pct is None else _between(show_rate_pct, "--show-rate", 0, 100.0) / 100
    if not 0.0 <= over_pct <= 100.0:
        raise UsageError(f"--over: {over_pct:g} % is not between 0 and 100")
    return Terms(risk, rate, over_pct / 100, paid)


def _between(value: float, option: str, low: float, high: float) -> float:
    if not low < value <= high:
        raise UsageError(f"{option}: {value:g} % is not above {low:g} and at most {high:g}")
    return value


def read_pieces(text: str) -> tuple[PieceMass, ...]:
    """Read the masses of pieces that are there: ``13.2lb,14.8lb``."""
    parts = [part for part in text.split(",") if part.strip()]
    if not parts:
        raise UsageError("--pieces: no mass given; write them such as 13.2lb,14.8lb")
    return tuple(PieceMass(grams(part, "--pieces")) for part in parts)


def typical_piece(cut: str, mass: str | None, sd: str | None) -> tuple[PieceMass, bool]:
    """Return the mass of a piece to be bought, and whether it is only a prior.

    What is not given comes from the cut's policy.
    """
    known = _policy_mass(cut)
    if mass is not None:
        mean_g = grams(mass, "--piece-mass")
        own = PieceMass(mean_g, known.sd_g * mean_g / known.mean_g)
    else:
        own = known
    if sd is not None:
        own = replace(own, sd_g=_sd(sd))
    if own.sd_g > own.mean_g / 2:
        raise UsageError(
            f"--piece-sd: {own.sd_g:.0f} g is more than half of the piece's {own.mean_g:.0f} g; "
            "check the unit"
        )
    return own, mass is None


def _sd(text: str) -> float:
    return parse_mass_mg(text) / 1000


def _policy_mass(cut: str) -> PieceMass:
    """Return the planning mass of a cut, from the policy that comes with pitlogger."""
    table = cut_policy(cut)
    if "mass" not in table:
        raise UsageError(f"no piece mass is known for {cut}; give --piece-mass, such as 5lb")
    return PieceMass(grams(table["mass"], cut), _sd(table.get("mass_sd", "0 g")))


@dataclass(frozen=True, slots=True)
class Dish:
    """One cut of a menu, the share of the meal it is, and its portion if it has its own."""

    cut: str
    share: float
    portion: Portion | None = None


def read_menu(text: str) -> tuple[Dish, ...]:
    """Read ``brisket-packer:60%,pork-butt:40%:6oz``.

    Raises:
        UsageError: A share is missing, or the shares come to less than 100 %.
    """
    from pitlogger.cli.ahead.history import check_cut

    dishes = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        cut, _, rest = part.partition(":")
        share, _, own = rest.partition(":")
        match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*%\s*", share)
        if match is None or not 0 < float(match[1]) <= 100:
            raise UsageError(f"--menu: '{part}' has no share; write cut:share, brisket-packer:60%")
        portion = read_portion(own) if own else None
        dishes.append(Dish(check_cut(cut), float(match[1]) / 100, portion))
    if len({dish.cut for dish in dishes}) < len(dishes):
        raise UsageError("--menu: a cut is named twice; add its shares")
    total = sum(dish.share for dish in dishes)
    if total < 0.999:
        raise UsageError(
            f"--menu: the shares come to {total:.0%}; expected 100 % or more (people try both)"
        )
    return tuple(dishes)
