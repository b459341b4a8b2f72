"""Prices that are hardly meant, in money whose worth is known."""

from __future__ import annotations

import pytest

from pitlogger.formats.job_file import JobFile, parse_job
from pitlogger.planning.job.prices import price_doubts

HOUR = "2027-06-19T17:00:00-05:00"


def job(price: str, currency: str = "", per_guest: str = "24") -> JobFile:
    named = f'currency = "{currency}"' if currency else ""
    return parse_job(
        f'[job]\nguests = 20\nserve_at = "{HOUR}"\nprice_per_guest = {per_guest}\n{named}\n'
        f'[[meat]]\ncut = "brisket-packer"\nprice = "{price}"\nshare_pct = 100\n'
    )


@pytest.mark.parametrize("price", ["42900/lb", "429/lb", "0.0429/lb", "9450/kg", "0/lb"])
def test_a_price_far_from_any_known_is_doubted(price: str) -> None:
    (doubt,) = price_doubts(job(price), "USD")
    assert doubt.startswith("meat.brisket-packer.price: ")


@pytest.mark.parametrize("price", ["4.29/lb", "9.45/kg", "1.10/lb", "120/lb", "0.99/kg"])
def test_a_price_that_is_paid_is_not(price: str) -> None:
    assert list(price_doubts(job(price), "EUR")) == []


def test_of_other_money_nothing_is_known() -> None:
    assert list(price_doubts(job("4290/kg", "JPY"), "USD")) == []
    assert list(price_doubts(job("150000/kg"), "IDR")) == []


def test_what_a_guest_pays_is_doubted_too() -> None:
    (doubt,) = price_doubts(job("4.29/lb", per_guest="2400"), "USD")
    assert doubt.startswith("job.price_per_guest: 2400")
