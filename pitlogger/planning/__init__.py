"""The questions before the next cook: how much to buy, when to light the fire, what to charge.

Typed questions in, typed answers out: masses in grams, times as times, money as ``Decimal``.
The history is passed in (``PastCooks``); nothing here reads a file, a socket or a clock. A field
that cannot be used raises ``FieldError``, which names it.
"""

from pitlogger.errors import FieldError
from pitlogger.planning.card import CardAnswer, CardQuestion, price_card
from pitlogger.planning.fields import Dish, Portion
from pitlogger.planning.past import PastCooks
from pitlogger.planning.plan_answer import PlanAnswer
from pitlogger.planning.plan_question import PlanQuestion
from pitlogger.planning.purchase import plan

__all__ = [
    "CardAnswer",
    "CardQuestion",
    "Dish",
    "FieldError",
    "PastCooks",
    "PlanAnswer",
    "PlanQuestion",
    "Portion",
    "plan",
    "price_card",
]
