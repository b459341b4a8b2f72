"""The API against thousands of odd requests: no server error, no answer it does not describe."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from pitlogger.web.access.rates import Rates
from pitlogger.web.access.roles import Role
from tests.browser.staging import staged

pytestmark = pytest.mark.slow
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance,
    response_schema_conformance,
]  # fmt: skip
# The stream never ends, and a phone removed here might be the one that asks.
EXAMPLES = int(os.environ.get("SCHEMA_EXAMPLES", "20"))  # an operation; 200 nightly: 10 000 in all
LEFT_OUT = r"/stream$|/phones/.*/remove$"


@dataclass(frozen=True, slots=True)
class Described:
    """The API's description as read from a served daemon, and the key to ask it with."""

    operations: dict[str, Any]
    headers: dict[str, str]


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Described]:
    with staged(tmp_path_factory.mktemp("schema"), 2.0) as stage:
        stage.access.writes = stage.access.reads = Rates(1e9, 1e9)
        _, key = stage.access.admit("program", "fuzz", Role.OWNER)
        headers = {"Authorization": f"Bearer {key}"}
        url = f"{stage.address}api/v1/openapi.json"
        schema = schemathesis.openapi.from_url(url, headers=headers).exclude(path_regex=LEFT_OUT)
        found: list[Any] = [result.ok() for result in schema.get_all_operations()]  # type: ignore[union-attr]
        yield Described({operation.label: operation for operation in found}, headers)


def test_every_route_is_described(described: Described) -> None:
    assert len(described.operations) > 35


def test_the_api_answers_as_it_says(described: Described) -> None:
    for operation in described.operations.values():

        @given(case=operation.as_strategy())
        @settings(max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        def answers(case: Any) -> None:
            case.call_and_validate(checks=CHECKS, headers=described.headers)

        answers()
