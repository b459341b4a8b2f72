"""Numbers, masses and prices of the job form: a comma is a decimal comma, or asked about."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from pitlogger.errors import FieldError
from pitlogger.web.page.ahead.job_fields import edited
from tests.planning.test_job import JOB


def put(**typed: str) -> dict[str, Any]:
    return tomllib.loads(
        edited(JOB, {path.replace("__", "."): text for path, text in typed.items()})
    )


@pytest.mark.parametrize(
    ("path", "text", "held"),
    [
        ("job__leave", "2,5 kg", "2.5 kg"),
        ("job__portion", "5,5 oz", "5.5 oz"),
        ("meat__0__price", "9,45/kg", "9.45/kg"),
        ("meat__0__at_least", "7,215 kg", "7.215 kg"),
        ("fuel__mass_per_h", "1.5 kg", "1.5 kg"),
        ("job__tax_pct", "8,25", 8.25),
        ("shortage__refund", "1500", 1500),
    ],
)
def test_a_decimal_comma_is_understood(path: str, text: str, held: object) -> None:
    found: Any = put(**{path: text})
    for part in path.split("__"):
        found = found[int(part)] if part.isdigit() else found[part]
    assert found == held


@pytest.mark.parametrize(
    ("path", "text", "said"),
    [
        ("shortage__refund", "1,500", "write 1500 or 1.500"),
        ("job__leave", "2,500 g", "write 2500 g or 2.500 g"),
        ("shortage__refund", "1,234,567", "is not a number"),
    ],
)
def test_what_may_be_thousands_is_not_guessed(path: str, text: str, said: str) -> None:
    with pytest.raises(FieldError, match=said) as caught:
        put(**{path: text})
    assert caught.value.field == path.replace("__", ".")
