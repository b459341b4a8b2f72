"""The nine major food allergens of the United States, each answered by a person.

Words of ingredients only suggest what to answer; they never answer.

Sources: Food Allergen Labeling and Consumer Protection Act of 2004 (the first eight); FASTER
Act of 2021 (sesame, in force 2023-01-01). Which everyday ingredients hold them: from memory,
common practice; a packet's own label decides.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from pitlogger.errors import UsageError, unknown
from pitlogger.views.language import mark, tr

MAJOR = (mark("milk"), mark("egg"), mark("fish"), mark("crustacean shellfish"), mark("tree nuts"),
         mark("peanuts"), mark("wheat"), mark("soybeans"), mark("sesame"))  # fmt: skip
_WORDS: dict[str, tuple[str, ...]] = {
    "milk": ("milk", "buttermilk", "butter", "cream", "cheese", "whey", "casein", "caseinate",
             "yogurt", "yoghurt", "ghee", "lactose"),
    "egg": ("egg", "eggs", "mayonnaise", "mayo", "aioli", "albumin"),
    "fish": ("fish", "anchovy", "anchovies", "worcestershire", "salmon", "tuna", "cod"),
    "crustacean shellfish": ("shrimp", "prawn", "prawns", "crab", "lobster", "crayfish",
                             "crawfish"),
    "tree nuts": ("almond", "almonds", "walnut", "walnuts", "pecan", "pecans", "cashew",
                  "cashews", "pistachio", "pistachios", "hazelnut", "hazelnuts", "macadamia",
                  "nuts"),
    "peanuts": ("peanut", "peanuts", "groundnut", "groundnuts"),
    "wheat": ("wheat", "flour", "bread", "breadcrumbs", "bun", "buns", "roll", "rolls",
              "semolina", "farina", "beer", "pasta", "tortilla", "soy sauce"),
    "soybeans": ("soy", "soya", "soybean", "soybeans", "tofu", "lecithin", "edamame", "miso",
                 "worcestershire"),
    "sesame": ("sesame", "tahini"),
}  # fmt: skip
# What sounds like an allergen and is none.
_NOT = ("coconut milk", "almond milk", "cocoa butter", "peanut butter", "apple butter",
        "buckwheat", "corn flour", "rice flour", "corn tortilla", "cream of tartar",
        "shellfish")  # fmt: skip
_STILL = {"almond milk": "tree nuts", "peanut butter": "peanuts",
          "shellfish": "crustacean shellfish"}  # fmt: skip


def found_in(ingredients: Iterable[str]) -> list[str]:
    """Return the major allergens that the words of some ingredients name, in their order."""
    found: set[str] = set()
    for ingredient in ingredients:
        text = ingredient.casefold()
        for phrase in _NOT:
            if phrase in text:
                text = text.replace(phrase, " ")
                if phrase in _STILL:
                    found.add(_STILL[phrase])
        for allergen, words in _WORDS.items():
            if any(re.search(rf"\b{re.escape(word)}\b", text) for word in words):
                found.add(allergen)
    return [allergen for allergen in MAJOR if allergen in found]


def checked(names: Iterable[str]) -> list[str]:
    """Return allergens named by a person, each one of the nine.

    Raises:
        UsageError: One that is not among them.
    """
    given = [name.strip().casefold() for name in names if name.strip()]
    for name in given:
        if name not in MAJOR:
            raise UsageError(unknown("allergen", name, MAJOR))
    return [allergen for allergen in MAJOR if allergen in given]


@dataclass(frozen=True, slots=True)
class AllergenAnswer:
    """Which of the nine a person said that food holds, and which it does not."""

    holds: tuple[str, ...] = ()
    without: tuple[str, ...] = ()

    @classmethod
    def of(cls, holds: Iterable[str], without: Iterable[str]) -> AllergenAnswer:
        """Return the answers.

        Raises:
            UsageError: What is none of the nine, or is answered both ways.
        """
        made = cls(tuple(checked(holds)), tuple(checked(without)))
        if both := set(made.holds) & set(made.without):
            raise UsageError(f"{', '.join(sorted(both))}: answered both ways, which is right?")
        return made

    def open(self) -> list[str]:
        """Return the allergens that nobody answered for."""
        return [name for name in MAJOR if name not in self.holds and name not in self.without]

    def statement(self) -> str:
        """Return the line of a label: what it contains, or that nobody said."""
        if self.open():
            return tr("Allergens not stated: do not hand out.")
        if not self.holds:
            return tr("Each of the nine major allergens was answered for: ask who packed it.")
        return tr("Contains: {names}.", names=", ".join(map(tr, self.holds)))


UNANSWERED = AllergenAnswer()


def suggested(ingredients: Iterable[str], answered: AllergenAnswer) -> str:
    """Return what the words of ingredients suggest beside what was answered, empty for nothing."""
    found = found_in(ingredients)
    unsaid = ", ".join(tr(name) for name in found if name in answered.open())
    denied = ", ".join(tr(name) for name in found if name in answered.without)
    told = []
    if unsaid:
        told.append(tr("Words of the ingredients suggest {names}: answer.", names=unsaid))
    if denied:
        told.append(
            tr("Words of the ingredients suggest {names}, answered as not in it: check before it "
               "is handed out.", names=denied)
        )  # fmt: skip
    return " ".join(told)
