"""The nine major food allergens of the United States, found by word in a list of ingredients.

Sources: Food Allergen Labeling and Consumer Protection Act of 2004 (the first eight); FASTER
Act of 2021 (sesame, in force 2023-01-01). Which everyday ingredients hold them: from memory,
common practice; a packet's own label decides.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

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


def contains(allergens: Iterable[str]) -> str:
    """Return the "contains" line of a label; with none found it says what that means."""
    named = list(allergens)
    if not named:
        return tr("Contains: none of the nine major allergens named; check every packet.")
    return tr("Contains: {names}.", names=", ".join(map(tr, named)))
