"""A job's meat is bought as butchers sell it: cases, steps, price breaks, what arrived."""

from __future__ import annotations

from decimal import Decimal

import pytest

from tests.planning.test_job import JOB, LB, answered


def test_meat_is_bought_as_the_butcher_sells_it() -> None:
    case = answered(JOB + 'case_pieces = 4\ncase_mass = "52 lb"\nround_to = "5 lb"\n').dishes[0]
    assert case.pieces % 4 == 0
    assert case.billed_g == pytest.approx(-(-case.purchase_g // (5 * LB)) * 5 * LB, abs=1)
    spread = answered(JOB + 'piece_from = "12 lb"\npiece_to = "13 lb"\n').dishes[0]
    assert spread.purchase_g / spread.pieces == pytest.approx(12.5 * LB, rel=1e-6)
    broken = answered(JOB + 'breaks = [{from_mass = "60 lb", price = "3.99/lb"}]\n').dishes[0]
    assert broken.meat == round(Decimal(broken.billed_g / LB) * Decimal("3.99"), 2)
    least = answered(JOB + 'at_least = "200 lb"\n').dishes[0]
    assert least.billed_g >= 200 * LB - 1


def test_what_arrived_light_is_ordered_again() -> None:
    plain = answered(JOB).dishes[0]
    nine, sixteen = (", ".join([f'"{lb} lb"'] * plain.pieces) for lb in (9, 16))
    light = answered(JOB + f"arrived = [{nine}]\n").dishes[0]
    assert light.order_more > 0
    assert light.pieces == plain.pieces + light.order_more
    heavy = answered(JOB + f"arrived = [{sixteen}]\n").dishes[0]
    assert heavy.order_more == 0


def test_what_is_a_whole_step_already_is_not_rounded_up() -> None:
    text = JOB + 'piece_from = "12 lb"\npiece_to = "12 lb"\nround_to = "1 lb"\n'
    dish = answered(text).dishes[0]
    assert dish.billed_g == pytest.approx(12 * LB * dish.pieces, abs=1)
